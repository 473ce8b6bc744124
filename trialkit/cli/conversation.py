"""How a call asked to be spoken with, and what it has been told: options that every command has."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TextIO

import click


@dataclass
class Conversation:
    """What one call asked for beside its work, and what was said in answer."""

    words: Sequence[str] = ()
    """Its arguments."""
    files: Mapping[Path, bool] = field(default_factory=dict)
    """Those that it wrote, or (false) took away."""
    as_json: bool = False
    quiet: bool = False
    no_color: bool = False
    no_input: bool = False
    has_begun: bool = False
    """Whether the call was taken apart, and its command runs."""
    command: str = ""
    folder: Path | None = None
    document: Any = None
    asked: list[str] = field(default_factory=list)
    """Lines of what was asked for."""
    done: list[str] = field(default_factory=list)
    """Sentences of what was done."""

    @property
    def wants_json(self) -> bool:
        """Whether a document is asked for, were it by a call that could not be taken apart, so no option was heard."""
        return self.as_json or (not self.has_begun and "--json" in self._options)

    @property
    def _options(self) -> Sequence[str]:
        return self.words[: self.words.index("--")] if "--" in self.words else self.words

    @property
    def color(self) -> bool | None:
        """Whether colours are printed; None where the terminal decides, as each stream is one or none."""
        if self.no_color or os.environ.get("NO_COLOR"):
            return False
        if os.environ.get("FORCE_COLOR"):
            return True
        return False if _is_dumb() else None

    @property
    def may_ask(self) -> bool:
        """Whether somebody sits there who can be asked."""
        return not (self.as_json or self.no_input) and _is_terminal(sys.stdin)

    @property
    def shows_progress(self) -> bool:
        """Whether somebody watches."""
        return not (self.as_json or self.quiet or _is_dumb()) and _is_terminal(sys.stderr)


def _is_terminal(stream: TextIO | None) -> bool:
    return stream is not None and not stream.closed and stream.isatty()


def _is_dumb() -> bool:
    return os.environ.get("TERM") == "dumb"


def conversation() -> Conversation:
    """Return that of the call that is being answered."""
    context = click.get_current_context(silent=True)
    return context.find_root().ensure_object(Conversation) if context else Conversation()


def _wished(context: click.Context, option: click.Parameter, value: bool) -> None:
    if value:
        setattr(context.find_root().ensure_object(Conversation), str(option.name), True)


def _flag(name: str, text: str) -> click.Option:
    return click.Option(
        [f"--{name.replace('_', '-')}", "as_json" if name == "json" else name],
        is_flag=True, is_eager=True, expose_value=False, callback=_wished, help=text,
    )  # fmt: skip


SHARED_OPTIONS = (
    _flag("json", "Print one JSON document, of a failure, too, and nothing beside it."),
    _flag("quiet", "Print only errors and what was asked for."),
    _flag("no_color", "Print without colours. NO_COLOR and TERM=dumb do the same; FORCE_COLOR always has colours."),
    _flag("no_input", "Ask nothing: say which options are missing."),
)
"""Of every command, before its name and after."""


class SharedOptions(click.Command):
    """A command that has the options of all."""

    def get_params(self, ctx: click.Context) -> list[click.Parameter]:
        """List its own options and those of all."""
        return [*super().get_params(ctx), *SHARED_OPTIONS]

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Show the options of all below its own."""
        own: list[tuple[str, str]] = []
        shared: list[tuple[str, str]] = []
        for option in self.get_params(ctx):
            record = option.get_help_record(ctx) if isinstance(option, click.Option) else None
            if record is not None:
                (shared if option in SHARED_OPTIONS else own).append(record)
        for title, records in (("Options", own), ("Options of every command", shared)):
            with formatter.section(title):
                formatter.write_dl(records)


class Command(SharedOptions):
    """A command that works, on a folder or without one."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run it, once it is known what is run."""
        talk = conversation()
        talk.has_begun, talk.command = True, name_of(ctx)
        talk.folder = ctx.params.get("folder") or ctx.params.get("ledger")
        return super().invoke(ctx)


class Group(SharedOptions, click.Group):
    """A command of commands."""

    command_class = Command

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Show options and commands."""
        super().format_options(ctx, formatter)
        self.format_commands(ctx, formatter)


def name_of(context: click.Context | None) -> str:
    """Return the words that name a command, such as ``evidence add``; nothing of the program itself."""
    return context.command_path.partition(" ")[2] if context else ""
