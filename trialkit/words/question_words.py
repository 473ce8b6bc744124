"""What a volunteer is asked of their records: a check's problems in the words of who stands at the bucket.

No column, code or file is named, and what a bucket was meant to get is not told, as the trial may be blind.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from trialkit.words.message_words import by_name, fill_in
from trialkit.words.phrases import count, date_words

if TYPE_CHECKING:
    from trialkit.documents.problems import ToldProblem
    from trialkit.tables.table_schema import Field

LABEL, OUTCOME = "What does the label say?", "What became of it?"

# Of what a volunteer is asked, by the column where the problem stands.
WHAT = {
    "bucket": LABEL,
    "head": "Which head of the bucket was it?",
    "transplanted_on": "On which day was it planted?",
    "outcome": OUTCOME,
    "harvested_on": "On which day was it cut?",
    "last_not_ready_on": "On which day was it last seen not ready?",
    "weight_g": "What did it weigh?",
    "marketable": "Would a gardener be glad to eat it or give it away?",
    "cultivar_planted": "Which cultivar was planted?",
    "measured_on": "On which day was this mixed or read?",
    "volume_l": "How much water was in the bucket?",
    "nutrient_tsp": "How much nutrient went in?",
    "acid_tsp": "How much acid went in?",
    "ph_before": "What did the strip say before anything was added?",
    "ph_after": "What did the strip say after mixing?",
    "ec_ms_cm": "What did the meter show?",
    "site": "Which garden was it?",
    "visited_on": "On which day was the visit?",
    "observer_role": "Who came: volunteer, teacher or adviser?",
    "note": "What should the note say?",
}

# Where the column alone does not tell: rule and case, question | expected | found | answers to tick.
_QUESTIONS = """
TK-V06: | a day, such as 17 Sep
TK-V07: | a day, such as 17 Sep
TK-K01: Two lines tell of the same thing. Which is right? | one line
TK-K02: | a name that the trial knows
TK-K03: | a day from {first!d} to {last!d}
TK-H01: | 1 to {heads}
TK-H02: | a weight, as it was cut | | nobody weighed it
TK-H03: | a day, as it was cut | | it was not cut
TK-H04: Was it cut, and what did it weigh? | no weight, as it is said that it was not cut | | it was not cut
TK-H04 not weighed: Was it weighed? | no weight, as it is said that nobody weighed it | | nobody weighed it
TK-H05: Was it cut, and when? | no day, as it is said that it was not cut | | it was not cut
TK-H06: When was it planted, and when was it cut? | a day not before it was planted
TK-H07: When was it last seen not ready? | a day between planting and cutting
TK-H08: What became of the heads of this bucket? | a line for each of its heads | no line
TK-H09: What became of the other heads of this bucket? | {heads} heads | {count:head}
TK-H10: What did it weigh? | a weight like the others in your garden
TK-H11: When was it planted, and when was it cut? | a day at most {most_days} days after planting
TK-H12: On which day was it cut? | a day about {first_days} to {last_days} days after planting
TK-H13: Did the scale show grams or ounces? | grams | half of your heads at {median:.3g} or less | grams | ounces
TK-H14: Was the scale read to the gram? | one weight in five that ends in 0 or 5 | {rounded} of {weights} | yes | no
TK-H15: Was each head weighed by itself? | weights of their own | the same weights again | yes | no
TK-H16: What did it weigh, and when was it planted and cut? | at most {most_g_a_day:g} g for each day that it grew
TK-H18: What became of it? | what became of it, as it is said to be cut
TK-H19: | a day, as it stood in the bucket
TK-H20: What became of heads of which nothing is written down? | what became of each | nothing for {count:head}
TK-H21 transplanting: | {assigned!d}, when most heads of your garden were planted
TK-H21 cultivar: | the cultivar that is planned for this bucket
TK-S01 dose: | what is planned for this bucket
TK-S01 no acid: | what is planned for this bucket
TK-S01 acid: | what is planned for this bucket
TK-S01 volume: | about {assigned:g} L
TK-S01 mixing: | {assigned!d}, when most buckets of your garden were mixed
TK-S03: What did the strip say, before the acid and after it? | no more after the acid than before it
TK-S04: | what other buckets fed alike in your garden show, about {usual_ms_cm:.2g} mS/cm
TK-S05: | a day not after the bucket's last harvest
TK-S06: What did the strip say, and how much acid went in? | about {lowest:.1f} to {highest:.1f}
TK-S07: In which unit did the meter show its readings? | mS/cm | {ratio:.2g} times the usual | mS/cm | µS/cm | ppm
TK-S12: | about {planned_l:g} L
TK-R51: Two values were sent in. Which is right? | one value
"""

ADVISERS = ("TK-H17", "TK-H22", "TK-S02", "TK-R60", "TK-V15")
"""Of records, but nothing that a volunteer need answer: a note says why already, or the adviser has changed it."""
OF_THE_GARDEN = ("TK-H13", "TK-H14", "TK-H20", "TK-S07")
"""About all records of a garden, though one row stands for them."""


@dataclass(frozen=True)
class QuestionWords:
    """A question as it is put to a volunteer."""

    question: str
    found: Annotated[str, "What we read; empty where nothing stands there."]
    expected: str
    choices: Annotated[tuple[str, ...], "Answers to tick; without any, a line to write on."]


def _read(text: str) -> Mapping[str, tuple[str, ...]]:
    lines = (line.partition(": ") for line in text.splitlines() if line)
    return {code: tuple(part.strip() for part in words.split("|")) for code, _, words in lines}


QUESTIONS = _read(_QUESTIONS)
"""By rule and case: question, what was expected, what was found, answers to tick; empty where column or cell tells."""


def question_words(problem: ToldProblem) -> QuestionWords:
    """Ask a volunteer about a problem of their records.

    Examples
    --------
    >>> from trialkit.documents.problems import ToldProblem, facts
    >>> read = facts(text="108 g")
    >>> question_words(ToldProblem("error", "TK-V02", "", "heads.csv", 4, "weight_g", read, '"108 g"', "a number", ""))
    QuestionWords(question='What did it weigh?', found='“108 g”', expected='a number', choices=())
    """
    from trialkit.domain.table_names import TABLE_NAMES
    from trialkit.tables.table_schema import load_schema

    facts = by_name(problem.facts)
    own = QUESTIONS.get(f"{problem.rule} {problem.case}".strip()) or QUESTIONS.get(problem.rule, ())
    asked, expected, found, *choices = (*own, *[""] * (3 - len(own)))
    schema = next((load_schema(name) for name in TABLE_NAMES if f"{name}.csv" == problem.file), None)
    known = schema is not None and problem.column in schema.columns
    field = schema.field(problem.column) if schema and known and problem.column else None
    text = facts.get("text")
    of_column = _choices(field) if not asked or asked == OUTCOME else ()
    if of_column and not expected:
        expected = "one of these"
    return QuestionWords(
        asked or WHAT.get(problem.column or "", LABEL),
        fill_in(found, facts) or (_said(field, text) if isinstance(text, str) else problem.found),
        fill_in(expected, facts) if expected else _plain(problem.expected),
        tuple(choices) or of_column,
    )


def answers_asked(questions: int, buckets: int, must: int) -> str:
    """Greet a volunteer, and say how much there is to answer.

    Examples
    --------
    >>> answers_asked(3, 2, 1)
    'Thank you for your records. We have 3 questions about 2 buckets. The answer of the trial waits for 1 of them.'
    """
    if not questions:
        return "Thank you for your records. Everything that was written down is in order. There is nothing to do."
    about = f" about {count(buckets, 'bucket')}" if buckets else ""
    asked = f"Thank you for your records. We have {count(questions, 'question')}{about}"
    if not must:
        return f"{asked}. Nothing has to be changed if it is right as it stands."
    which = "it" if must == questions == 1 else "all of them" if must == questions else f"{must} of them"
    return f"{asked}. The answer of the trial waits for {which}."


def more_words(buckets: Sequence[str], more: int) -> str:
    """Say of how many records more something is asked, and of which buckets.

    Examples
    --------
    >>> more_words(["33CJ", "33DF"], 5)
    'The same is asked of 5 more records, of 33CJ, 33DF: please look them up too, and write the answers on the back.'
    """
    which = f", of {', '.join(buckets)}" if buckets else ""
    what = count(more, "more record", "more records")
    return f"The same is asked of {what}{which}: please look them up too, and write the answers on the back."


def _said(field: Field | None, text: str) -> str:
    if not text:
        return ""
    if field is not None and field.type == "date":
        said = date_words(text) or text
        return said if said != text else f"“{text}”"
    if field is not None and field.enum and text in field.enum:
        return _plain(text)
    if field is not None and field.type in ("number", "integer") and text.replace(".", "", 1).isdigit():
        return f"{text} {field.unit_words}" if field.unit_words else text
    return f"“{text}”"


def _choices(field: Field | None) -> tuple[str, ...]:
    if field is None:
        return ()
    if field.type == "boolean":
        return field.true_values[0], field.false_values[0]
    return tuple(map(_plain, field.enum or ()))


def _plain(text: str) -> str:
    return text.replace("_", " ")
