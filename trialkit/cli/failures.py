"""Failures that a person can mend, told in one style and turned into exit codes."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import wraps
from typing import Any, TypeVar

import click

from trialkit.cli.main import DATA_ERROR, NOT_COMPUTED, WRONG_CALL
from trialkit.errors import NotComputed, WrongCall
from trialkit.trial.problem import Problem, TrialError

Command = TypeVar("Command", bound=Callable[..., Any])


class DataFailure(click.ClickException):
    """The data have errors."""

    exit_code = DATA_ERROR


class CallFailure(click.ClickException):
    """The call was wrong."""

    exit_code = WRONG_CALL


class ComputationFailure(click.ClickException):
    """A result could not be computed."""

    exit_code = NOT_COMPUTED


def show_problems(problems: Iterable[Problem]) -> None:
    """Print problems to standard error, errors first, one a line."""
    for problem in sorted(problems, key=lambda p: p.severity != "error"):
        colour = "red" if problem.severity == "error" else "yellow"
        click.echo(f"{click.style(problem.severity, fg=colour, bold=True)}: {problem}", err=True)


def speaks_plainly(function: Command) -> Command:
    """Turn what a person can mend into messages and exit codes; anything else is a bug and keeps its traceback."""

    @wraps(function)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        try:
            return function(*args, **kwargs)
        except TrialError as error:
            show_problems(error.problems)
            count = len(error.problems)
            raise DataFailure(f"{count} problem{'s' if count > 1 else ''} to mend first.") from error
        except NotComputed as error:
            raise ComputationFailure(str(error)) from error
        except WrongCall as error:
            raise CallFailure(str(error)) from error
        except OSError as error:
            message = f"{error.filename}: {error.strerror}" if error.filename else str(error)
            raise CallFailure(message) from error

    return wrapped  # type: ignore[return-value]
