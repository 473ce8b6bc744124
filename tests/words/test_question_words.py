"""Questions to a volunteer: each in plain words, and whole in each language."""

from __future__ import annotations

import re
from collections.abc import Mapping
from string import Formatter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from english_left import english_in
from spanish_reading import QUITE_EASY, VERY_EASY, perspicuity
from trialkit.documents.problems import FactValue, Problem, facts
from trialkit.languages import gettext, speaking
from trialkit.tables.table_schema import Field, load_schema
from trialkit.words.message_words import fill_in
from trialkit.words.question_words import (
    QUESTIONS,
    WHAT,
    QuestionTemplate,
    answers_asked,
    asked_about,
    asked_record,
    more_words,
    question_words,
)

COLUMNS = [
    load_schema(name).field(field.name)
    for name in ("heads", "solution", "visits")
    for field in load_schema(name).fields
]
FILES = {field.name: f"{name}.csv" for name in ("visits", "solution", "heads") for field in load_schema(name).fields}
NAMES = ("334X", "Ruby Oak", "108 g")
LENGTH = 24


def values(column: Field) -> st.SearchStrategy[str]:
    """Texts that a cell of a column may hold, read or not."""
    strange = st.sampled_from(["", *NAMES])
    if column.type == "date":
        return st.dates().map(str) | strange
    if column.enum or column.type == "boolean":
        return st.sampled_from([*(column.enum or ()), *column.true_values]) | strange
    if column.type in ("number", "integer"):
        return st.floats(0.25, 2000).map("{:.4g}".format) | strange
    return strange


def plausible(template: QuestionTemplate) -> st.SearchStrategy[dict[str, FactValue]]:
    """Facts of the kinds that a template says."""
    kinds: dict[str, st.SearchStrategy[FactValue]] = {}
    for _, name, spec, conversion in Formatter().parse(f"{template.expected} {template.found}"):
        if conversion == "d":
            kinds[str(name)] = st.dates().map(str)
        elif conversion == "n" or (spec and spec[-1] in "gf"):
            kinds[str(name)] = st.floats(0.01, 2000)
        elif name:
            kinds[name] = st.sampled_from(NAMES[:2]) if name == "first" else st.integers(1, 60)
    return st.fixed_dictionaries(kinds)


def problem_of(code: str, column: Field, known: Mapping[str, FactValue], text: str) -> Problem:
    """A problem of a rule and case in a column."""
    return Problem("error", code[:6], code[7:], FILES[column.name], 4, column.name, facts(text=text, **known))


@pytest.mark.parametrize("code", sorted(QUESTIONS))
@settings(max_examples=20)
@given(data=st.data(), column=st.sampled_from(COLUMNS))
def test_a_question_is_whole_in_spanish_and_short_in_both(code: str, data: st.DataObject, column: Field) -> None:
    """Whatever the rule, the column and the facts: no English is left, no place unfilled, no sentence long."""
    text = data.draw(values(column))
    problem = problem_of(code, column, data.draw(plausible(QUESTIONS[code])), text)
    english = question_words(problem)
    with speaking("es"):
        spanish = question_words(problem)
    said = [spanish.question, spanish.found, spanish.expected, *spanish.choices]
    assert english_in(said, [text, *NAMES, "ppm", "mS/cm", "µS/cm"]) == []
    assert all("{" not in one and "e+" not in one for one in (*said, english.found, english.expected))
    assert spanish.found.strip() or not english.found
    assert len(spanish.choices) == len(english.choices)
    for words in (english, spanish):
        assert max(map(len, map(str.split, (words.question, f"x x {words.expected}", f"x x {words.found}")))) <= LENGTH


@pytest.mark.parametrize("column", sorted(WHAT))
def test_a_question_about_a_column_has_a_spanish_one(column: str) -> None:
    """Also where no rule is known to look there."""
    field = next(field for field in COLUMNS if field.name == column)
    with speaking("es"):
        assert question_words(problem_of("TK-V02", field, {}, "?")).question.startswith("¿")


def test_amounts_dates_and_what_is_counted_go_by_the_language() -> None:
    """Of whole sentences, beside their English."""
    with speaking("es"):
        assert fill_in("{count:head}", {"count": 1}) == "1 lechuga"
        assert fill_in("{count:head}", {"count": 3}) == "3 lechugas"
        assert fill_in("{first!d}", {"first": "2026-09-17"}) == "17 de septiembre de 2026"
        assert fill_in("{x:.1f}; {x!n}; {days!o}", {"x": 1234.56, "days": ("a", "b")}) == "1234.6; 1200; a o b"
        assert answers_asked(3, 2, 1) == (
            "Gracias por sus registros. Tenemos 3 preguntas sobre 2 baldes. "
            "El ensayo necesita 1 de las respuestas, con la marca “necesaria”."
        )
        assert (
            answers_asked(0, 0, 0)
            == "Gracias por sus registros. Todo lo que anotó está en orden. No hay que hacer nada."
        )
        assert more_words(["33CJ", "33DF"], 5).startswith(
            "Preguntamos lo mismo sobre 5 registros más, de los baldes 33CJ y 33DF. Por favor"
        )
        assert more_words(["33CJ"], 2).startswith("Preguntamos lo mismo sobre 2 registros más, del balde 33CJ. Por")
        assert asked_record({"bucket": "33CJ", "measured_on": "2026-08-20"}) == "20 de agosto de 2026"
        assert asked_about("33CJ", whole_garden=True) == "Todo el huerto"


def test_amounts_beyond_the_range_are_told_in_their_unit() -> None:
    """Teaspoons in words, by number; other units as they stand in the file."""
    schema = load_schema("solution")
    spoons = question_words(problem_of("TK-V10", schema.field("nutrient_tsp"), {}, "90"))
    assert (spoons.found, spoons.expected) == ("90 teaspoons", "0 to 50 teaspoons")
    litres = question_words(problem_of("TK-V10", schema.field("volume_l"), {}, "2000"))
    assert (litres.found, litres.expected) == ("2000 L", "0.1 to 200 L")
    strip = question_words(problem_of("TK-V10", schema.field("ph_after"), {}, "77"))
    assert (strip.found, strip.expected) == ("pH 77", "pH 2 to 12")
    meter = question_words(problem_of("TK-S07", schema.field("ec_ms_cm"), {"ratio": 1012.3}, "1800"))
    assert meter.found == "about 1000 times the usual value"
    with speaking("es"):
        one = question_words(problem_of("TK-S01 acid", schema.field("acid_tsp"), {}, "0.5"))
        assert (one.found, one.expected) == ("0.5 cucharadita", "lo planeado para este balde")


def test_what_is_the_advisers_is_not_asked() -> None:
    """Of a departure that a note explains, for one."""
    with pytest.raises(ValueError, match="No volunteer is asked about TK-S02"):
        question_words(problem_of("TK-S02 dose", load_schema("solution").field("nutrient_tsp"), {}, "9"))


def test_the_spanish_of_the_questions_is_easy_to_read() -> None:
    """By the INFLESZ scale: the questions very easy; with what we expected, as the page says it, quite easy."""
    with speaking("es"):
        asked = {gettext(text) for text in (*WHAT.values(), *(one.question for one in QUESTIONS.values())) if text}
        expected = {gettext(one.expected) for one in QUESTIONS.values() if one.expected}
    assert perspicuity(asked) >= VERY_EASY
    assert perspicuity([*asked, *(f"Esperábamos: {re.sub('{.*?}', '', text)}." for text in expected)]) >= QUITE_EASY
