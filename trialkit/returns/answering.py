"""A person's answers to what merges ask: told one by one, or all of them in a file."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any, get_args

from trialkit.documents.returns import Answers, Choice, DateOrder, DayCount, DecimalSeparator, WeightUnit
from trialkit.domain.errors import WrongCall
from trialkit.domain.quoting import quoted, shown
from trialkit.domain.reading_budget import PROTOCOL, OverBudget
from trialkit.domain.table_names import RECORD_TABLES
from trialkit.tables.headings import plain_heading
from trialkit.tables.nearest import meant
from trialkit.tables.rule_book import RULES
from trialkit.tables.table_schema import load_schema
from trialkit.tables.toml_text import toml_data

MOST_FAULTS = 50
"""So many are told at once."""
HOW_TO_ANSWER = (
    'Write one answer a line, such as dates = "month-first", then under [headings] lines such as '
    '"Head wt" = "weight_g".'
)
CHOICES: Mapping[str, tuple[str, ...]] = {
    "dates": get_args(DateOrder),
    "decimals": get_args(DecimalSeparator),
    "serials": get_args(DayCount),
    "weights": get_args(WeightUnit),
}
"""What each question with answers of its own can be answered."""
COLUMNS = tuple(dict.fromkeys(name for table in RECORD_TABLES for name in load_schema(table).columns))


@dataclass(frozen=True)
class Given:
    """What was answered: how to read, what headings stand for (folded), what to take for conflicts."""

    answers: Answers = field(default_factory=Answers)
    headings: Mapping[str, str] = field(default_factory=dict)
    choices: Mapping[str, Choice] = field(default_factory=dict)

    def or_else(self, others: "Given") -> "Given":
        """Fill in what was not answered here from answers given elsewhere."""
        return Given(
            self.answers.or_else(others.answers),
            {**others.headings, **self.headings},
            {**others.choices, **self.choices},
        )


def read_answers(path: Path) -> Given:
    """Read a file of answers, in TOML.

    Raises
    ------
    WrongCall
        With everything that is wrong with it.
    OSError
        If it cannot be read.
    """
    with path.open("rb") as stream:
        data = stream.read(PROTOCOL.file_bytes + 1)
    try:
        told = toml_data(data.decode("utf-8-sig"))
    except OverBudget as over:
        raise WrongCall(f"{path}: larger than any file of answers ({over}). {HOW_TO_ANSWER}") from over
    except ValueError as error:  # no text, or no TOML
        raise WrongCall(f"{path}: {shown(error)}. {HOW_TO_ANSWER}") from error
    return given(told, str(path))


def given(told: Mapping[str, Any], where: str) -> Given:
    """Check answers by their names: those of `CHOICES`, accept (a list of rules), headings and choose (by identity).

    Raises
    ------
    WrongCall
        With everything that is wrong, each with what would be right.

    Examples
    --------
    >>> given({"dates": "month-first", "headings": {"Head wt": "weight_g"}}, "answers.toml").headings
    {'head_wt': 'weight_g'}
    """
    faults = [f"{where}: {fault}" for fault in islice(_faults(told), MOST_FAULTS)]
    if faults:
        raise WrongCall("\n".join(faults))
    plain = {name: told.get(name) for name in CHOICES}
    headings = {plain_heading(text): column for text, column in told.get("headings", {}).items()}
    return Given(Answers(**plain, accepted=tuple(told.get("accept", ()))), headings, told.get("choose", {}))


def _faults(told: Mapping[str, Any]) -> Iterator[str]:
    for name, value in told.items():
        if name in CHOICES:
            if value not in CHOICES[name]:
                yield f"{name} is {quoted(value)}; write one of {', '.join(CHOICES[name])}."
        elif name == "accept":
            if not isinstance(value, list | tuple):
                yield f'accept is {quoted(value)}; write a list of rules, such as ["TK-R25"].'
                continue
            for rule in value:
                if not isinstance(rule, str) or rule not in RULES or not rule.startswith("TK-R"):
                    yield f"accept {shown(rule)}: there is no such rule; a question names its own, such as TK-R25."
        elif name == "headings" and isinstance(value, Mapping):
            yield from _heading_faults(value)
        elif name == "choose" and isinstance(value, Mapping):
            for identity, choice in value.items():
                if choice not in get_args(Choice):
                    yield f"choose {shown(identity)}: write the conflict's ID, then =kept or =returned."
        else:
            known = ", ".join((*CHOICES, "accept", "[headings]", "[choose]"))
            hint = meant(name, (*CHOICES, "accept", "headings", "choose"))
            yield f"{shown(name)} is no answer in this form; there are {known}.{hint}"


def _heading_faults(headings: Mapping[str, Any]) -> Iterator[str]:
    seen: dict[str, str] = {}
    for text, column in headings.items():
        if column != "" and column not in COLUMNS:
            there = f"There are {', '.join(COLUMNS)}."
            yield f"heading {quoted(text)}: no column {quoted(column)}.{meant(shown(column), COLUMNS)} {there}"
        plain = plain_heading(text)
        if not plain or seen.get(plain, column) != column:
            yield f"heading {quoted(text)}: say once which one column it stands for."
        seen[plain] = column
