"""What the desk does with a folder: each deed a call of `trialkit.interface` and the command that does the same."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

from trialkit.desk.powershell import powershell_line
from trialkit.documents.problems import ToldProblem
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.languages import translatable
from trialkit.tables.problem import TrialError

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    from trialkit.tables.typed_lists import PlanTable

Told = Callable[[str, int, int], None]
"""Told of long work: what, how much is done, how much there is."""


@dataclass(frozen=True)
class Deed:
    """Something to do."""

    title: Annotated[str, "As the page says it."]
    commands: Annotated[tuple[tuple[str, ...], ...], "What would do the same, each after the word trialkit."]
    run: Annotated[Callable[[Told], None], "Does it; can be sent to another process."]
    files: Annotated[tuple[tuple[str, bytes], ...], "What the commands read, under the names they have there."] = ()

    @property
    def command_lines(self) -> tuple[str, ...]:
        """The commands as one types them."""
        return tuple(command_line(words) for words in self.commands)


@dataclass(frozen=True)
class WentWrong:
    """Why something could not be done."""

    sentences: tuple[str, ...]
    problems: tuple[ToldProblem, ...] = ()


def command_line(words: Sequence[str]) -> str:
    """Write a command as one types it on this system."""
    whole = ("trialkit", *words)
    return powershell_line(whole) if sys.platform == "win32" else shlex.join(whole)


def trouble_of(error: TrialError | WrongCall | NotComputed | OSError) -> WentWrong:
    """Say what went wrong."""
    from trialkit.words.file_words import file_failure_words
    from trialkit.words.problem_words import told_problem

    if isinstance(error, TrialError):
        return WentWrong((), tuple(told_problem(one, at_desk=True) for one in error.problems))
    if isinstance(error, OSError):
        return WentWrong((file_failure_words(error),))
    return WentWrong((str(error),))


def start(folder: Path, answers: Mapping[str, Any], told: Told) -> None:  # noqa: ARG001
    """Start a trial."""
    from trialkit.interface.trial_object import Trial

    Trial.new(folder, **answers)


def set_plan(
    folder: Path,
    keys: Mapping[str, object],
    tables: Mapping[PlanTable, str],
    seen: Mapping[str, str],
    told: Told,  # noqa: ARG001
) -> None:
    """Set what the plan of a trial says."""
    from trialkit.interface.trial_object import Trial

    Trial(folder).set(keys, tables=tables, seen=seen)


def analyse_and_report(folder: Path, told: Told) -> None:
    """Analyse a trial and write its report."""
    from trialkit.interface.trial_object import Trial

    trial = Trial(folder)
    told(translatable("analysis"), 0, 2)
    trial.analyse()
    told(translatable("report"), 1, 2)
    trial.report()


def plan(folder: Path, ledger: Path | None, told: Told) -> None:
    """Plan a trial, after a ledger where there is one."""
    from trialkit.interface.trial_object import Trial

    Trial(folder).plan(ledger=ledger, progress=told)


def lay_out(folder: Path, told: Told) -> None:  # noqa: ARG001  every deed is called alike
    """Draw the layout."""
    from trialkit.interface.trial_object import Trial

    Trial(folder).layout(again=True)


def write_forms(folder: Path, told: Told) -> None:
    """Write what gardens print and fill in."""
    from trialkit.interface.trial_object import Trial

    told(translatable("forms"), 0, 1)
    Trial(folder).forms()


def check_pages(folder: Path, told: Told) -> None:  # noqa: ARG001
    """Check a trial and write the pages of it."""
    from trialkit.interface.trial_object import Trial

    Trial(folder).check_pages()


def keep(folder: Path, ledger: Path, told: Told) -> None:
    """Accept a trial into a ledger."""
    from trialkit.interface.ledger_object import Ledger

    told(translatable("evidence"), 0, 1)
    Ledger(ledger).add(folder)


def replace_entry(folder: Path, ledger: Path, entry: str, why: str, told: Told) -> None:
    """Withdraw an entry, and accept its trial as it is now."""
    told(translatable("evidence"), 0, 1)
    from trialkit.interface.ledger_object import Ledger

    Ledger(ledger).withdraw(entry, why)
    Ledger(ledger).add(folder)


def pack(folder: Path, told: Told) -> None:
    """Pack a trial as open data."""
    from trialkit.interface.trial_object import Trial

    told(translatable("pack"), 0, 1)
    Trial(folder).pack()


def recommend(ledger: Path, languages: tuple[str, ...], told: Told) -> None:
    """Pool a ledger, and write its page, the handout and the care sheet."""
    from trialkit.interface.ledger_object import Ledger

    told(translatable("pool"), 0, 2)
    Ledger(ledger).pool()
    told(translatable("handout"), 1, 2)
    Ledger(ledger).recommend(*languages)


def withdraw(ledger: Path, entry: str, why: str, told: Told) -> None:  # noqa: ARG001
    """Withdraw an entry of a ledger."""
    from trialkit.interface.ledger_object import Ledger

    Ledger(ledger).withdraw(entry, why)


def readmit(ledger: Path, entry: str, why: str, told: Told) -> None:  # noqa: ARG001
    """Let a withdrawn entry of a ledger count again."""
    from trialkit.interface.ledger_object import Ledger

    Ledger(ledger).readmit(entry, why)


def follow(folder: Path, ledger: Path, told: Told) -> None:
    """Start the trial that is worth most after those of a ledger."""
    from trialkit.interface.trial_object import Trial

    Trial.following(folder, ledger, progress=told)


def set_county(folder: Path, changes: Mapping[str, str], told: Told) -> None:  # noqa: ARG001
    """Set the county that handouts name."""
    from trialkit.steps.county_steps import county_of

    county_of(folder, changes)


Merge = tuple[tuple["Path", ...], Mapping[str, Any]]
"""Files of the tray, and what else `Trial.merge` is given."""


def merge(folder: Path, merges: tuple[Merge, ...], told: Told) -> None:
    """Merge files of the tray, one call after the other, and take out of it what was merged."""
    from trialkit.desk.tray import Tray
    from trialkit.interface.trial_object import Trial

    for number, (files, answers) in enumerate(merges):
        told(translatable("merge"), number, len(merges))
        there = [path for path in files if path.is_file()]  # another window may have merged some meanwhile
        if files and not there:
            continue
        outcome = Trial(folder).merge(*there, **answers)
        merged = [path.parent.name for path, one in zip(there, outcome.files, strict=True) if one.merged]
        Tray(folder).take_out(merged, answers.get("choose", ()))


def correct(
    folder: Path,
    row: tuple[str, int | None, date | None],
    why: str,
    values: Mapping[str, str],
    told: Told,  # noqa: ARG001
) -> None:
    """Put a row of the record right.

    Raises
    ------
    WrongCall
        If a value cannot be read, or contradicts the rest of its row.
    """
    from trialkit.interface.trial_object import Trial
    from trialkit.words.repair_words import finding_sentence

    bucket, head, on = row
    outcome = Trial(folder).correct(bucket, head, why=why, on=on, **values)
    if not outcome.ok:
        told_of = (finding_sentence(one, at_desk=True) for one in outcome.findings if one.verdict != "repaired")
        raise WrongCall("\n".join(told_of))


def add_site(
    folder: Path,
    site: str,
    why: str,
    on: date,
    more: Mapping[str, Any],
    told: Told,  # noqa: ARG001
) -> None:
    """Let a garden join."""
    from trialkit.interface.trial_object import Trial

    Trial(folder).add_site(site, why=why, on=on, **more)


def withdraw_site(folder: Path, site: str, why: str, on: date, told: Told) -> None:  # noqa: ARG001
    """Let a garden give up."""
    from trialkit.interface.trial_object import Trial

    Trial(folder).withdraw_site(site, why=why, on=on)


def rejoin_site(folder: Path, site: str, why: str, on: date, told: Told) -> None:  # noqa: ARG001
    """Let a garden that gave up take part again."""
    from trialkit.interface.trial_object import Trial

    Trial(folder).rejoin_site(site, why=why, on=on)


def take_back(folder: Path, file: str, why: str, told: Told) -> None:  # noqa: ARG001
    """Take back a file that was merged."""
    from trialkit.interface.trial_object import Trial

    Trial(folder).take_back(file, why=why)
