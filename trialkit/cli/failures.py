"""Failures that a person can fix, told in one style and turned into exit codes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import wraps
from typing import Any, TypeVar

import click

from trialkit.cli.conversation import conversation
from trialkit.cli.main import DATA_ERROR, NOT_COMPUTED, WRONG_CALL
from trialkit.cli.speaking import AnswerLine, complain, progress_shown
from trialkit.documents.document import DamagedDocument
from trialkit.documents.problems import Problem
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.tables.problem import PlanError, TrialError
from trialkit.words.file_words import file_failure_words
from trialkit.words.phrases import count
from trialkit.words.problem_words import problem_sentence
from trialkit.words.record_check_words import MOST_ALIKE

Command = TypeVar("Command", bound=Callable[..., Any])


class FixableFailure(click.ClickException):
    """Something that a person can fix; its message may quote strangers."""

    def __init__(self, message: str, problems: Sequence[Problem] = ()) -> None:
        super().__init__(message)
        self.problems = tuple(problems)
        self.talk = conversation()  # which is over when this is shown

    def show(self, file: Any = None) -> None:  # noqa: ARG002
        """Print the problems, then the message."""
        for line in (*problem_lines(self.problems), AnswerLine(f"Error: {self.message}")):
            complain(line, self.talk)


class DataFailure(FixableFailure):
    """The data have errors."""

    exit_code = DATA_ERROR


class CallFailure(FixableFailure):
    """The call was wrong."""

    exit_code = WRONG_CALL


class ComputationFailure(FixableFailure):
    """A result could not be computed."""

    exit_code = NOT_COMPUTED


def problem_lines(problems: Iterable[Problem]) -> Iterator[AnswerLine]:
    """Say problems, errors first, one a line; of many alike the first few and a count."""
    alike: dict[tuple[str, str, str, str | None], list[Problem]] = {}
    for problem in sorted(problems, key=lambda p: p.severity != "error"):
        alike.setdefault((problem.severity, problem.rule, problem.file, problem.column), []).append(problem)
    for (severity, rule, *_), group in alike.items():
        more = len(group) - MOST_ALIKE
        told = [problem_sentence(problem) for problem in group[:MOST_ALIKE]]
        for text in [*told, *([f"... and {more} more like these [{rule}]"] if more > 0 else [])]:
            yield AnswerLine(text, severity, "red" if severity == "error" else "yellow")


def speaks_plainly(function: Command) -> Command:
    """Show progress; turn what a person can fix into messages and exit codes. All else is a bug with its traceback."""

    @wraps(function)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        try:
            with progress_shown():
                return function(*args, **kwargs)
        except TrialError as error:
            failure = CallFailure if isinstance(error, PlanError) else DataFailure
            raise failure(f"{count(len(error.problems), 'problem')} to fix first.", error.problems) from error
        except NotComputed as error:
            raise ComputationFailure(str(error)) from error
        except DamagedDocument as error:  # what was read is told where it is read: this was about to be written
            raise ComputationFailure(
                f"What was worked out is {error}, so nothing of it was written. That is a fault of trialkit, not of "
                "your records. Please report it, and send the folder that it was worked out from."
            ) from error
        except WrongCall as error:
            raise CallFailure(str(error)) from error
        except BrokenPipeError:  # whoever read what we print has seen enough
            raise
        except OSError as error:
            raise CallFailure(file_failure_words(error, click.get_current_context().command_path)) from error

    return wrapped  # type: ignore[return-value]
