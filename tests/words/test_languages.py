"""Catalogues of other languages: whole, in step with the code, and filled in alike."""

from __future__ import annotations

import json
import pickle
import re
import subprocess
import sys
from datetime import date

import pytest

from tests.support.catalogue import in_step, lacking, text_of
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.evidence.ledger_index import RESTORE
from trialkit.languages import (
    ENGLISH,
    FOLDER,
    LANGUAGE_TAG,
    LANGUAGES,
    Saying,
    catalogue,
    gettext,
    is_reviewed,
    language_tag,
    review_note,
    speaking,
    spoken,
)
from trialkit.protocol.county import parse_county
from trialkit.tables.problem import TrialError
from trialkit.tables.table_schema import load_schema
from trialkit.words.measures import liquid_words, measure_words, teaspoons, volume_words
from trialkit.words.phrases import chance, count, date_words, days_words, listed, short_day
from trialkit.words.problem_words import problem_sentence

OTHERS = [language for language in LANGUAGES if language != ENGLISH]
PLACES = re.compile(r"\{\w*[^}]*\}|%\(\w+\)[sd]|<[^>]+>")
COUNTED = re.compile(r"(?<=:)[^}/]*/[^}]*(?=\})")
"""What goes with one or with many, as messages of checks write it: words, which are translated."""
OPTIONAL = re.compile(r"\[\[(.*?)\]\]", re.DOTALL)


def places(text: str) -> list[str]:
    """What is filled into a text, and its tags."""
    return sorted(COUNTED.sub("/", one) for one in PLACES.findall(text))


@pytest.mark.parametrize("language", OTHERS)
def test_a_catalogue_lacks_nothing(language: str) -> None:
    """Every message that is marked in the code has its translation; what it lacks is listed."""
    assert lacking(catalogue(language)) == []


@pytest.mark.parametrize("language", OTHERS)
def test_a_catalogue_is_in_step(language: str) -> None:
    """It holds just the messages that are said, as ``python tests/support/catalogue.py`` writes them."""
    kept = (FOLDER / f"{language}.po").read_text(encoding="utf-8")
    assert kept == text_of(in_step(catalogue(language)))


@pytest.mark.parametrize("language", OTHERS)
def test_translations_keep_places_and_markup(language: str) -> None:
    """What is filled in, and the tags around it, are the same in every form of a message."""
    for message in catalogue(language):
        if not message.id or not message.string:
            continue
        texts = [message.id] if isinstance(message.id, str) else list(message.id)
        told = [message.string] if isinstance(message.string, str) else list(message.string)
        for one in told:
            assert places(one) == places(texts[-1]), texts[0]
            assert [places(part) for part in OPTIONAL.findall(one)] == [
                places(part) for part in OPTIONAL.findall(texts[-1])
            ], texts[0]


ANOTHER = """
import json
import trialkit.languages as languages
languages.LANGUAGES = (*languages.LANGUAGES, "fr")
from trialkit.cli.answer_schemas import answers_schema
from trialkit.documents.recommended_schema import recommended_schema
from trialkit.documents.results_schema import results_schema
from trialkit.protocol.county import parse_county
from trialkit.protocol.county_schema import county_schema
from trialkit.protocol.protocol_schema import protocol_schema
assert parse_county('[county]\\nname = "Larkmoor"\\nlanguage = "fr"').county.language == "fr"
print(json.dumps({
    "answers": answers_schema(), "recommended": recommended_schema(), "results": results_schema(),
    "county": county_schema(), "protocol": protocol_schema(),
}))
"""


def test_another_catalogue_leaves_every_schema_as_it_is() -> None:
    """They tell the form of a language's tag; which there are is checked against the catalogues."""
    with_it = subprocess.run([sys.executable, "-c", ANOTHER], capture_output=True, check=True)
    without = subprocess.run(
        [sys.executable, "-c", "\n".join(line for line in ANOTHER.splitlines() if "fr" not in line.split('"'))],
        capture_output=True,
        check=True,
    )
    for name, schema in json.loads(with_it.stdout).items():
        assert schema == json.loads(without.stdout)[name], name


def test_tables_and_documents_name_languages_alike() -> None:
    """By one pattern."""
    assert f"^{load_schema('sites').field('language').pattern}$" == LANGUAGE_TAG
    assert all(re.match(LANGUAGE_TAG, language) for language in LANGUAGES)
    with pytest.raises(TrialError) as error:
        parse_county('[county]\nname = "Larkmoor"\nlanguage = "xx"')
    assert "en" in problem_sentence(error.value.problems[0])


def test_a_language_is_spoken_inside_and_no_longer() -> None:
    """Also where something goes wrong inside; an unknown one is refused."""

    def go_wrong() -> None:
        with speaking("es"):
            assert spoken() == "es"
            raise KeyError

    with pytest.raises(KeyError):
        go_wrong()
    assert (spoken(), language_tag()) == (ENGLISH, "en")
    with pytest.raises(ValueError, match="no catalogue"), speaking("xx"):
        pass


@pytest.mark.parametrize("language", OTHERS)
def test_a_catalogue_says_whether_it_was_reviewed(language: str) -> None:
    """In its first comment; where not yet, its pages say so, and English ones never do."""
    header = catalogue(language).header_comment
    assert header.count("# Reviewed by a native adviser: ") == 1
    with speaking(language):
        assert (review_note() == "") == is_reviewed(language) == ("not yet" not in header)
    assert review_note() == ""


def test_spanish_of_kitchen_and_calendar() -> None:
    """Plurals, dates and ranges; of dates the source is the Unicode CLDR, by Babel."""
    with speaking("es"):
        assert language_tag() == "es-US"
        assert teaspoons(6.5) == "6½ cucharaditas rasas"
        assert teaspoons(0.5) == "½ cucharadita rasa"
        assert liquid_words(19.75) == "¼ taza y 3 cucharadas"
        assert measure_words(12.0) == "un cuarto de taza"
        assert volume_words(20.0) == "20 L (5.3 gal de EE. UU.)"
        assert chance(0.93) == "93 de cada 100"
        assert listed(["a", "b", "c"], "or") == "a, b o c"
        assert date_words("2026-08-20") == "20 de agosto de 2026"
        assert date_words("2026-13-20") == "2026-13-20"
        assert short_day(date(2026, 9, 17)) == "17 sep"
        days = [date(2026, 12, 30), date(2027, 1, 2), date(2027, 2, 1)]
        assert days_words(days) == "30 de diciembre de 2026, 2 de enero y 1 de febrero de 2027"
        days = [date(2026, 9, 17), date(2026, 9, 20), date(2026, 10, 2), date(2026, 10, 5)]
        assert days_words(days) == "17 y 20 de septiembre; 2 y 5 de octubre de 2026"
        assert count(2, "inch", "inches") == "2 inches"  # of which nothing is marked: English


def test_a_failure_is_said_when_it_is_read() -> None:
    """In the language that is spoken then, from another process too; a text without parts keeps its braces."""
    with speaking("en"):
        error = WrongCall(Saying("Name at least one garden."), "Of the data package.", "{other}")
    sent = pickle.loads(pickle.dumps(error))
    for one in (error, sent):
        assert str(one) == "Name at least one garden.\nOf the data package.\n{other}"
        with speaking("es"):
            assert str(one) == "Nombre al menos un huerto.\nDel paquete de datos.\n{other}"
    parts = NotComputed("{path} was changed. {restore}", path="a.json", restore=RESTORE)
    with speaking("es"):
        told = str(pickle.loads(pickle.dumps(parts)))
    assert told == "a.json se cambió. Recupere el archivo del control de versiones."


def test_nothing_is_said_of_nothing() -> None:
    """A catalogue has its own head under the empty text."""
    with speaking("es"):
        assert gettext("") == str(Saying("")) == ""
