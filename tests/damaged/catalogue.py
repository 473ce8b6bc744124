"""How a kind of damage is entered into the catalogue."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from returned_files import Good
from trialkit.documents.returns import Answers
from trialkit.domain.table_names import TableName

Verdict = Literal["repaired", "asked", "refused", "conflict"]


@dataclass(frozen=True)
class Kind:
    """One kind of damage.

    Attributes
    ----------
    name : str
    make : callable
        Makes the damaged file of a good return.
    verdict : {"repaired", "asked", "refused", "conflict"}
    rule, says : str
        The rule that tells of it, and a part of what it says.
    file : str
        Name that the file is given under.
    odd : bool
        Whether the trial has labels that spreadsheet programs change.
    before : bool
        Whether the good file was collected before.
    answers : Answers
        Answers to what is asked, under which the good values come out (`same_values`).
    tables : tuple of str
        The tables that the damaged file has; the good return's rows of these must come out.
    same_values : bool
        False if what comes out is said by `gives` (table, row, column, value) where it differs from the good return.
    gives : tuple of tuples
    """

    name: str
    make: Callable[[Good], bytes]
    verdict: Verdict
    rule: str
    says: str
    file: str = "fernsedge.csv"
    odd: bool = False
    before: bool = False
    answers: Answers = field(default_factory=Answers)
    tables: tuple[TableName, ...] = ("heads",)
    gives: tuple[tuple[TableName, int, str, str], ...] = ()


CATALOGUE: list[Kind] = []


def damage(
    verdict: Verdict,
    rule: str,
    says: str,
    *,
    file: str = "fernsedge.csv",
    odd: bool = False,
    before: bool = False,
    answers: Answers | None = None,
    tables: tuple[TableName, ...] = ("heads",),
    gives: tuple[tuple[TableName, int, str, str], ...] = (),
) -> Callable[[Callable[[Good], bytes | str]], Callable[[Good], bytes]]:
    """Enter the decorated function into the catalogue; its name is that of the damage, a text is written in UTF-8."""

    def entered(function: Callable[[Good], bytes | str]) -> Callable[[Good], bytes]:
        def make(good: Good) -> bytes:
            made = function(good)
            return made.encode("utf-8") if isinstance(made, str) else made

        name = function.__name__.replace("_", " ")
        given = answers or Answers()
        CATALOGUE.append(Kind(name, make, verdict, rule, says, file, odd, before, given, tables, gives))
        return make

    return entered


def accepting(*rules: str) -> Answers:
    """Answer by taking what these rules propose."""
    return Answers(accepted=rules)
