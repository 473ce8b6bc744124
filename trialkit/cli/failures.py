"""Failures that a person can fix, told in one style and turned into exit codes."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import wraps
from typing import Any, TypeVar

import click

from trialkit.cli.main import DATA_ERROR, NOT_COMPUTED, WRONG_CALL
from trialkit.documents.document import DamagedDocument
from trialkit.documents.problems import Problem
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.pages.printable import printable
from trialkit.tables.problem import PlanError, TrialError
from trialkit.words.file_words import file_failure_words
from trialkit.words.phrases import count
from trialkit.words.problem_words import problem_sentence
from trialkit.words.record_check_words import MOST_ALIKE

Command = TypeVar("Command", bound=Callable[..., Any])


class Failure(click.ClickException):
    """Something that a person can fix; its message may quote strangers."""

    def format_message(self) -> str:
        """Return the message without what would steer a terminal."""
        return printable(self.message)


class DataFailure(Failure):
    """The data have errors."""

    exit_code = DATA_ERROR


class CallFailure(Failure):
    """The call was wrong."""

    exit_code = WRONG_CALL


class ComputationFailure(Failure):
    """A result could not be computed."""

    exit_code = NOT_COMPUTED


def show_problems(problems: Iterable[Problem], *, err: bool = True) -> None:
    """Print problems, errors first, one a line; of many alike the first few and a count."""
    alike: dict[tuple[str, str, str, str | None], list[Problem]] = {}
    for problem in sorted(problems, key=lambda p: p.severity != "error"):
        alike.setdefault((problem.severity, problem.rule, problem.file, problem.column), []).append(problem)
    for (severity, rule, *_), group in alike.items():
        label = click.style(severity, fg="red" if severity == "error" else "yellow", bold=True)
        for problem in group[:MOST_ALIKE]:
            click.echo(f"{label}: {printable(problem_sentence(problem))}", err=err)
        if len(group) > MOST_ALIKE:
            click.echo(f"{label}: ... and {len(group) - MOST_ALIKE} more like these [{rule}]", err=err)


def speaks_plainly(function: Command) -> Command:
    """Turn what a person can fix into messages and exit codes; anything else is a bug and keeps its traceback."""

    @wraps(function)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        try:
            return function(*args, **kwargs)
        except TrialError as error:
            show_problems(error.problems)
            failure = CallFailure if isinstance(error, PlanError) else DataFailure
            raise failure(f"{count(len(error.problems), 'problem')} to fix first.") from error
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
