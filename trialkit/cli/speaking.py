"""What commands print: texts may quote strangers, so nothing in them can steer a terminal or turn its lines round.

Everything that a command prints goes through here. With ``--json`` it is kept, and `print_answer` prints it at the end.
"""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from trialkit.cli.conversation import Conversation, conversation
from trialkit.documents.document import as_data
from trialkit.domain.progress import watched
from trialkit.pages.printable import is_plain, printable

if TYPE_CHECKING:
    from trialkit.documents.answers import Failure


class AnswerLine(NamedTuple):
    """A line of an answer; its label has a colour."""

    text: str
    label: str = ""
    color: str = ""
    is_asked: bool = True
    """Whether it was asked for, rather than told beside it."""


def answer(document: Any, *lines: str | AnswerLine) -> None:
    """Give what a command was asked for: to programs a document, to people lines."""
    talk = conversation()
    talk.document = document
    for line in lines:
        one = line if isinstance(line, AnswerLine) else AnswerLine(line)
        label = f"{one.label}: " if one.label else ""
        talk.asked.append(f"{label}{one.text}")
        if not talk.as_json and (one.is_asked or not talk.quiet):
            _print(one, talk)


def tell(text: str) -> None:
    """Say what was done, and what to do next."""
    talk = conversation()
    talk.done += text.split("\n")
    if not (talk.as_json or talk.quiet):
        _print(AnswerLine(text), talk)


def notice(text: str) -> None:
    """Say something beside the answer, where no program reads."""
    talk = conversation()
    if not talk.quiet:
        _print(AnswerLine(text), talk, err=True)


def complain(line: AnswerLine, talk: Conversation) -> None:
    """Say what is wrong, which nothing silences."""
    _print(line, talk, err=True)


def _print(line: AnswerLine, talk: Conversation, *, err: bool = False) -> None:
    label = f"{click.style(line.label, fg=line.color, bold=True)}: " if line.label else ""
    click.echo(f"{label}{printable(line.text)}", err=err, color=talk.color)


def print_answer(talk: Conversation, status: int, failure: Failure | None) -> None:
    """Print the one document of a call: what was done and written, what was asked for, and why not."""
    from trialkit.documents.answers import CommandAnswer

    seen = {name: there for path, there in talk.files.items() if (name := _from(talk.folder or Path(), path))}
    told = CommandAnswer(
        schema="trialkit-answer-1",
        command=talk.command,
        exit_status=status,
        failure=failure,
        folder=None if talk.folder is None else str(talk.folder),
        written=tuple(sorted(name for name, there in seen.items() if there)),
        taken_away=tuple(sorted(name for name, there in seen.items() if not there)),
        done=tuple(talk.done),
        answer=talk.document,
    )
    written = json.dumps(as_data(told), indent=2, ensure_ascii=False)
    click.echo(re.sub(r"[^\n -~]", _plain_or_escaped, written))


def _plain_or_escaped(found: re.Match[str]) -> str:
    """Write a mark as it is where it only shows itself and standard output can tell it, else as JSON escapes it."""
    mark = found[0]
    try:
        mark.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:
        return json.dumps(mark)[1:-1]
    return mark if is_plain(mark) else json.dumps(mark)[1:-1]


def _from(folder: Path, path: Path) -> str:
    """Name a file by its way from a folder; nothing where it is hidden, as locks and unfinished files are."""
    way = PurePath(os.path.relpath(path.resolve(), folder.resolve()))
    return "" if any(part.startswith(".") and part != ".." for part in way.parts) else way.as_posix()


BAR_WIDTH = 30


@contextmanager
def progress_shown() -> Iterator[None]:
    """Show somebody who watches how far the work is: a line for each kind of work, with a bar where it is counted."""
    if not conversation().shows_progress:
        yield
        return
    last, is_bar_open = "", False

    def show(what: str, at: int, of: int) -> None:
        nonlocal last, is_bar_open
        if what != last:
            click.echo(f"Working out {what} ...", err=True)
        if of > 1:
            done, is_bar_open = BAR_WIDTH * at // of, at < of
            click.echo(f"\r[{'#' * done:{BAR_WIDTH}}] {at} of {of} ", err=True, nl=not is_bar_open)
        last = what

    with watched(show):
        try:
            yield
        finally:
            if is_bar_open:  # what comes next gets a line of its own
                click.echo(err=True)
