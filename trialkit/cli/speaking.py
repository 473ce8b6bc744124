"""What commands print: texts may quote strangers, so nothing in them can steer a terminal or turn its lines round."""

from __future__ import annotations

import json
import re
import sys
from typing import TYPE_CHECKING, Any

import click

from trialkit.documents.document import as_data
from trialkit.pages.printable import is_plain, printable

if TYPE_CHECKING:
    from trialkit.planning.trial_value import Progress


def tell(text: str, *, err: bool = False) -> None:
    """Print a text."""
    click.echo(printable(text), err=err)


def answer(document: Any, text: str, *, as_json: bool) -> None:
    """Print an answer: for programs as JSON, for people as a text."""
    if not as_json:
        tell(text)
        return
    written = json.dumps(as_data(document), indent=2, ensure_ascii=False)
    click.echo(re.sub(r"[^\n -~]", lambda mark: mark[0] if is_plain(mark[0]) else json.dumps(mark[0])[1:-1], written))


BAR_WIDTH = 30


def progress_told() -> Progress:
    """Show how far the work is: a bar on one line of a terminal for each kind of work, else its name once."""
    last = ""

    def show(what: str, at: int, of: int) -> None:
        nonlocal last
        if what != last:
            tell(f"Working out {what} ...", err=True)
        if of > 1 and sys.stderr.isatty():
            done = BAR_WIDTH * at // of
            click.echo(f"\r[{'#' * done:{BAR_WIDTH}}] {at} of {of} ", err=True, nl=at == of)
        last = what

    return show
