"""What a volunteer is asked of their records: a check's problems in the words of who stands at the bucket.

No column, code or file is named, and what a bucket was meant to get is not told, as the trial may be blind.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from trialkit.languages import gettext, in_figures, ngettext, translatable
from trialkit.words.message_words import by_name, fill_in
from trialkit.words.phrases import count, date_words, from_to, listed

if TYPE_CHECKING:
    from trialkit.documents.problems import Problem
    from trialkit.tables.table_schema import Field

OUTCOME = translatable("What happened to the head?")
DAY = translatable("a day, such as 17 Sep")
ONE_OF_THESE = translatable("one of these answers")
PLANNED = translatable("what was planned for this bucket")
NUMBER = translatable("a number")

# Of what a volunteer is asked, by the column where the problem stands.
WHAT = {
    "bucket": translatable("What does the label say?"),
    "head": translatable("Which head of the bucket was it?"),
    "transplanted_on": translatable("On which day was the head planted?"),
    "outcome": OUTCOME,
    "harvested_on": translatable("On which day was the head cut?"),
    "last_not_ready_on": translatable("On which day did you last see the head not ready to cut?"),
    "weight_g": translatable("How many grams did the head weigh?"),
    "marketable": translatable("Would a gardener be glad to eat the head or give it away?"),
    "cultivar_planted": translatable("Which cultivar was planted?"),
    "measured_on": translatable("On which day did you mix or measure the solution?"),
    "volume_l": translatable("How many litres of water were in the bucket?"),
    "nutrient_tsp": translatable("How many level teaspoons of nutrient went in?"),
    "acid_tsp": translatable("How many teaspoons of acid went in?"),
    "ph_before": translatable("What did the strip say before you added anything?"),
    "ph_after": translatable("What did the strip say after you stirred?"),
    "ec_ms_cm": translatable("What did the meter show?"),
    "site": translatable("Which garden was it?"),
    "visited_on": translatable("On which day was the visit?"),
    "observer_role": translatable("Who came: a volunteer, a teacher or an adviser?"),
    "note": translatable("What should the note say?"),
}


@dataclass(frozen=True)
class QuestionTemplate:
    """How a case of a rule is asked about; where it says nothing, column or cell do."""

    expected: str
    found: str = ""
    question: str = ""
    choices: tuple[str, ...] = ()


NOT_CUT = (translatable("it was not cut"),)
NOT_WEIGHED = (translatable("nobody weighed it"),)
YES_OR_NO = (translatable("yes"), translatable("no"))

QUESTIONS = {
    "TK-V01": QuestionTemplate(""),
    "TK-V02": QuestionTemplate(NUMBER),
    "TK-V03": QuestionTemplate(NUMBER),
    "TK-V04": QuestionTemplate(NUMBER),
    "TK-V05": QuestionTemplate(translatable("a whole number")),
    "TK-V06": QuestionTemplate(DAY),
    "TK-V07": QuestionTemplate(DAY),
    "TK-V08": QuestionTemplate(translatable("a day that is in the calendar")),
    "TK-V09": QuestionTemplate(ONE_OF_THESE),
    "TK-V10": QuestionTemplate(""),
    "TK-V11": QuestionTemplate(ONE_OF_THESE),
    "TK-V12": QuestionTemplate(translatable("letters, figures and hyphens only")),
    "TK-V12 control characters": QuestionTemplate(translatable("plain letters and figures")),
    "TK-V13": QuestionTemplate(translatable("a shorter text, of at most {most} characters")),
    "TK-V14": QuestionTemplate(NUMBER),
    "TK-K01": QuestionTemplate(
        translatable("one line"),
        translatable("two lines about the same thing"),
        translatable("This is written down twice. What is right?"),
    ),
    "TK-K03": QuestionTemplate(translatable("a day from {first!d} to {last!d}")),
    "TK-H01": QuestionTemplate(translatable("a number from 1 to {heads}")),
    "TK-H02": QuestionTemplate(translatable("a weight, because it was cut"), choices=NOT_WEIGHED),
    "TK-H03": QuestionTemplate(translatable("a day, because it was cut"), choices=NOT_CUT),
    "TK-H04": QuestionTemplate(
        translatable("no weight, because your record says that it was not cut"),
        question=translatable("Was the head cut, and how many grams did it weigh?"),
        choices=NOT_CUT,
    ),
    "TK-H04 not weighed": QuestionTemplate(
        translatable("no weight, because your record says that nobody weighed it"),
        question=translatable("Did you weigh the head, and how many grams did it weigh?"),
        choices=NOT_WEIGHED,
    ),
    "TK-H05": QuestionTemplate(
        translatable("no day, because your record says that it was not cut"),
        question=translatable("Was the head cut, and on which day?"),
        choices=NOT_CUT,
    ),
    "TK-H06": QuestionTemplate(
        translatable("the day of planting or a later one"),
        question=translatable("On which days was the head planted and cut?"),
    ),
    "TK-H07": QuestionTemplate(translatable("a day between planting and cutting")),
    "TK-H08": QuestionTemplate(
        translatable("a line for each of its heads"),
        translatable("nothing"),
        translatable("What happened to the heads of this bucket?"),
    ),
    "TK-H09": QuestionTemplate(
        translatable("{heads:head}"),
        translatable("{count:head}"),
        translatable("What happened to the other heads of this bucket?"),
    ),
    "TK-H10": QuestionTemplate(translatable("a weight like the others in your garden")),
    "TK-H11": QuestionTemplate(
        translatable("a day at most {most_days} days after planting"),
        question=translatable("On which days was the head planted and cut?"),
    ),
    "TK-H12": QuestionTemplate(translatable("a day about {first_days} to {last_days} days after planting")),
    "TK-H13": QuestionTemplate(
        translatable("weights in grams"),
        translatable("a weight of {median!n} or less for half of your heads"),
        translatable("Did the scale show grams or ounces?"),
        (translatable("grams"), translatable("ounces")),
    ),
    "TK-H14": QuestionTemplate(
        translatable("about 1 in 5"),
        translatable("{rounded} of {weights} weights that end in 0 or 5"),
        translatable("Did you read the scale to the gram?"),
        YES_OR_NO,
    ),
    "TK-H15 within a bucket": QuestionTemplate(
        translatable("weights that differ"),
        translatable("the same weight for all {heads} heads"),
        translatable("Did you weigh each head by itself?"),
        YES_OR_NO,
    ),
    "TK-H15 two buckets": QuestionTemplate(
        translatable("weights that differ"),
        translatable("the same weights as in bucket {first}"),
        translatable("Did you weigh each head by itself?"),
        YES_OR_NO,
    ),
    "TK-H16": QuestionTemplate(
        translatable("at most {most_g_a_day:g} g for each day that it grew"),
        question=translatable("How many grams did the head weigh, and on which days was it planted and cut?"),
    ),
    "TK-H18": QuestionTemplate(translatable("one of these answers, because your record tells of its harvest")),
    "TK-H19": QuestionTemplate(translatable("a day, because it stood in the bucket")),
    "TK-H20": QuestionTemplate(
        translatable("what happened to each head"),
        translatable("nothing about {count:head}"),
        translatable("What happened to the heads that have nothing written down?"),
    ),
    "TK-H21 transplanting": QuestionTemplate(translatable("{assigned!d}, when most heads of your garden were planted")),
    "TK-H21 cultivar": QuestionTemplate(translatable("the cultivar that was planned for this bucket")),
    "TK-S01 dose": QuestionTemplate(PLANNED),
    "TK-S01 no acid": QuestionTemplate(PLANNED),
    "TK-S01 acid": QuestionTemplate(PLANNED),
    "TK-S01 volume": QuestionTemplate(translatable("about {assigned:g} L")),
    "TK-S01 mixing": QuestionTemplate(translatable("{assigned!d}, when most buckets of your garden were mixed")),
    "TK-S03": QuestionTemplate(
        translatable("no higher pH after the acid than before it"),
        question=translatable("What did the strip say before the acid, and what after it?"),
    ),
    "TK-S04": QuestionTemplate(
        translatable("about {usual_ms_cm!n} mS/cm, as in other buckets of your garden with as much nutrient")
    ),
    "TK-S05": QuestionTemplate(translatable("no day after its last head was cut")),
    "TK-S06": QuestionTemplate(
        translatable("about pH {lowest:.1f} to {highest:.1f}"),
        question=translatable("What did the strip say, and how many teaspoons of acid went in?"),
    ),
    "TK-S07": QuestionTemplate(
        translatable("readings in mS/cm"),
        translatable("about {ratio!n} times the usual value"),
        translatable("In which unit did the meter show its readings?"),
        ("mS/cm", "µS/cm", "ppm"),
    ),
    "TK-S12": QuestionTemplate(translatable("about {planned_l:g} L")),
}
"""By rule and case; of other rules a volunteer is asked nothing: they are the adviser's, or a note says why already."""

OF_THE_GARDEN = ("TK-H13", "TK-H14", "TK-H20", "TK-S07")
"""About all records of a garden, though one row stands for them."""


@dataclass(frozen=True)
class QuestionWords:
    """A question as it is put to a volunteer."""

    question: str
    found: Annotated[str, "What we read; empty where nothing stands there."]
    expected: str
    choices: Annotated[tuple[str, ...], "Answers to tick; without any, a line to write on."]


def template_of(problem: Problem) -> QuestionTemplate | None:
    """How a volunteer is asked about a problem; None of what they are not asked about."""
    return QUESTIONS.get(f"{problem.rule} {problem.case}".strip()) or QUESTIONS.get(problem.rule)


def question_words(problem: Problem) -> QuestionWords:
    """Ask a volunteer about a problem of their records.

    Raises
    ------
    ValueError
        If no volunteer is asked about it.

    Examples
    --------
    >>> from trialkit.documents.problems import Problem, facts
    >>> question_words(Problem("error", "TK-V02", "", "heads.csv", 4, "weight_g", facts(text="108 g")))
    QuestionWords(question='How many grams did the head weigh?', found='“108 g”', expected='a number', choices=())
    """
    from trialkit.domain.table_names import TABLE_NAMES
    from trialkit.tables.table_schema import load_schema

    template = template_of(problem)
    if template is None:
        raise ValueError(f"No volunteer is asked about {problem.rule}.")
    facts = by_name(problem.facts)
    schema = next((load_schema(name) for name in TABLE_NAMES if f"{name}.csv" == problem.file), None)
    column = problem.column if schema is not None and problem.column in schema.columns else None
    field = schema.field(column) if schema and column else None
    question = template.question or WHAT.get(problem.column or "", WHAT["bucket"])
    choices = template.choices or (_choices(field) if question in (OUTCOME, WHAT["marketable"]) else ())
    expected = gettext(template.expected) if template.expected else _accepted(field, problem.rule)
    text = facts.get("text", "")
    return QuestionWords(
        gettext(question),
        fill_in(gettext(template.found), facts) if template.found else _said(field, str(text)),
        fill_in(expected, facts),
        tuple(map(gettext, choices)),
    )


def answers_asked(questions: int, buckets: int, must: int) -> str:
    """Greet a volunteer, and say how much there is to answer.

    Examples
    --------
    >>> answers_asked(1, 1, 1)
    'Thank you for your records. We have 1 question about 1 bucket. The trial needs the answer.'
    """
    thanks = gettext("Thank you for your records.")
    if not questions:
        nothing = gettext("All that you wrote down is in order. There is nothing to do.")
        return f"{thanks} {nothing}"
    asked = count(questions, "question", "questions")
    if buckets:
        about = count(buckets, "bucket", "buckets")
        have = gettext("We have {questions} about {buckets}.", questions=asked, buckets=about)
    else:
        have = gettext("We have {questions}.", questions=asked)
    if not must:
        needed = gettext("If your record is right, tick “it is right”.")
    elif must == questions:
        needed = ngettext("The trial needs the answer.", "The trial needs all the answers.", questions)
    else:
        needed = gettext("The trial needs {number} of the answers, marked “needed”.", number=must)
    return f"{thanks} {have} {needed}"


def more_words(buckets: Sequence[str], more: int) -> str:
    """Say of how many records more something is asked, and of which buckets.

    Examples
    --------
    >>> more_words(["33CJ", "33DF"], 5)
    'We ask the same about 5 more records, of buckets 33CJ and 33DF. Please look them up too. Write on the back.'
    """
    records = count(more, "more record", "more records")
    same = gettext("We ask the same about {records}.", records=records)
    if buckets:
        same = ngettext(
            "We ask the same about {records}, of bucket {buckets}.",
            "We ask the same about {records}, of buckets {buckets}.",
            len(buckets),
            records=records,
            buckets=listed(buckets),
        )
    ask = gettext("Please look them up too. Write on the back.")
    return f"{same} {ask}"


def asked_about(bucket: str, *, whole_garden: bool) -> str:
    """Name what a question is about: a bucket, the visits, or the garden as a whole.

    Examples
    --------
    >>> asked_about("334X", whole_garden=False), asked_about("", whole_garden=False)
    ('Bucket 334X', 'Visits')
    """
    if whole_garden:
        return gettext("The whole garden")
    return gettext("Bucket {bucket}", bucket=bucket) if bucket else gettext("Visits")


def asked_record(key: Mapping[str, str]) -> str:
    """Name a record among those of its bucket or garden.

    Examples
    --------
    >>> asked_record({"bucket": "334X", "head": "2"}), asked_record({"site": "FERN", "visited_on": "2026-08-20"})
    ('Head 2', '20 August 2026')
    >>> asked_record({"bucket": "334X"})
    ''
    """
    if "head" in key:
        return gettext("Head {head}", head=key["head"] or "?")
    days = [text for column, text in key.items() if column.endswith("_on")]
    return (date_words(days[0]) or gettext("no day")) if days else ""


def _accepted(field: Field | None, rule: str) -> str:
    """Say which values a column accepts, where the rule does not."""
    if field is None or field.type == "string":
        return gettext("letters, figures and hyphens only")
    if field.type == "date":
        return gettext("a day of this trial") if rule == "TK-V10" else gettext(DAY)
    if rule == "TK-V10" and field.minimum is not None:
        return _in_unit(field, from_to(f"{field.minimum:g}", f"{field.maximum:g}"), float(field.maximum or 0))
    return gettext(NUMBER)


def _said(field: Field | None, text: str) -> str:
    if not text:
        return ""
    if field is not None and field.type == "date":
        said = date_words(text) or text
        return said if said != text else f"“{text}”"
    if field is not None and field.enum and text in field.enum:
        return gettext(_plain(text))
    if field is not None and field.type in ("number", "integer") and text.replace(".", "", 1).isdigit():
        return _in_unit(field, in_figures(text), float(text))
    return f"“{text}”"


def _in_unit(field: Field, amount: str, value: float) -> str:
    if field.unit == "[tsp_us]":
        return ngettext("{amount} teaspoon", "{amount} teaspoons", math.ceil(value), amount=amount)
    if field.unit == "[pH]":
        return gettext("pH {amount}", amount=amount)
    return f"{amount} {field.unit_words}" if field.unit_words else amount


def _choices(field: Field | None) -> tuple[str, ...]:
    if field is None:
        return ()
    if field.type == "boolean":
        return field.true_values[0], field.false_values[0]
    return tuple(map(_plain, field.enum or ()))


def _plain(text: str) -> str:
    return text.replace("_", " ")
