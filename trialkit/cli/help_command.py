"""``trialkit help``."""

from __future__ import annotations

from collections.abc import Sequence

import click
from click.shell_completion import CompletionItem

from trialkit.cli.conversation import Command
from trialkit.cli.speaking import answer


def _found(context: click.Context, words: Sequence[str]) -> click.Context:
    """Follow the words of a command from the program to it."""
    here = context.find_root()
    for word in words:
        if not isinstance(here.command, click.Group):
            raise click.UsageError(f"{here.command_path} has no commands of its own.", context)
        name, command, _ = here.command.resolve_command(here, [word])
        assert command is not None
        here = click.Context(command, info_name=name, parent=here)
    return here


def _offered(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    try:
        here = _found(context, context.params.get("words") or ())
    except click.UsageError:
        return []
    return here.command.shell_complete(here, incomplete) if isinstance(here.command, click.Group) else []


@click.command("help", cls=Command)
@click.argument("words", metavar="[COMMAND]...", nargs=-1, shell_complete=_offered)
@click.pass_context
def command(ctx: click.Context, words: tuple[str, ...]) -> None:
    """Show what COMMAND does and which options it has, as trialkit COMMAND --help does.

    Without COMMAND, all commands are listed.

    Example: trialkit help evidence add
    """
    text = _found(ctx, words).get_help()
    answer(text, text)
