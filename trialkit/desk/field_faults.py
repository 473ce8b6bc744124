"""What is wrong with what was typed into a form, each beside its field."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Annotated

from trialkit.documents.problems import Problem
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.tables.problem import TrialError


@dataclass(frozen=True)
class FieldFault:
    """One thing wrong."""

    field: Annotated[str, "Name of the field; empty of the form as a whole."]
    text: str
    line: Annotated[int | None, "Of a text with many."] = None


def faults_of(
    error: TrialError | WrongCall | NotComputed, field_of: Callable[[Problem], str]
) -> tuple[FieldFault, ...]:
    """Tell each problem at the field that it is of."""
    from trialkit.words.problem_words import fault_sentence

    if not isinstance(error, TrialError):
        return tuple(FieldFault("", line) for line in str(error).splitlines())
    found = []
    for one in error.problems:
        field = field_of(one)
        place = "" if field else f"{', '.join(filter(None, (one.file, one.column)))}: "
        found.append(FieldFault(field, f"{place}{fault_sentence(one)}", one.row if one.file.endswith(".csv") else None))
    return tuple(dict.fromkeys(found))


class FaultsByField(dict[str, tuple[FieldFault, ...]]):
    """Faults by the names of their fields; a field without any has none."""

    def __missing__(self, field: str) -> tuple[FieldFault, ...]:
        """Nothing is wrong with a field that is not named."""
        return ()


def by_field(faults: Iterable[FieldFault]) -> FaultsByField:
    """Gather faults by their fields."""
    found = FaultsByField()
    for one in faults:
        found[one.field] = (*found[one.field], one)
    return found
