"""The ``trialkit`` command: its groups, its lazy subcommands and its exit codes."""

from __future__ import annotations

import gc
import os
import signal
import sys
from importlib import import_module
from threading import Event, current_thread, main_thread
from types import FrameType
from typing import Any, NoReturn

import click
from click.shell_completion import CompletionItem

from trialkit import __version__
from trialkit._startup import begin_lightly

# Command -> (group in the help, one line of help). The line stands here so that --help imports nothing heavy.
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("Start", "Do the whole job on a bundled, invented example."),
    "new": ("Plan", "Start a trial folder."),
    "plan": ("Plan", "Work out what the trial can tell, what it needs, and when."),
    "layout": ("Plan", "Randomise: which bucket gets which treatment."),
    "site": ("Garden", "Let a garden join a trial that has begun, or withdraw."),
    "forms": ("Garden", "Write labels, record sheets, workbooks and phone forms."),
    "merge": ("Garden", "Merge returned workbooks, CSV files and phone files."),
    "correct": ("Garden", "Put one record right, with the reason."),
    "check": ("Garden", "Find every problem in a trial folder."),
    "mix": ("Garden", "Work out nutrient and acid for a bucket of your water."),
    "schema": ("Garden", "Show the data dictionary: what each column means and takes."),
    "analyse": ("Answer", "Fit the model and decide what to recommend."),
    "report": ("Answer", "Write the report, one self-contained page."),
    "pack": ("Remember", "Pack a trial as open data that others can analyse again."),
    "county": ("Remember", "Set who stands behind the handout: name, contact, logo, sowing time."),
    "recommend": ("Remember", "Write the recommended defaults and the gardeners' handout."),
    "evidence": ("Remember", "Keep accepted trials in a ledger and pool them over seasons."),
}
ALIASES = {"analyze": "analyse"}
GROUPS = ("Start", "Plan", "Garden", "Answer", "Remember")

DONE, DATA_ERROR, WRONG_CALL, NOT_COMPUTED = 0, 1, 2, 3


class LazyGroup(click.Group):
    """A group that imports a command's module only when the command is run."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Name every command."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import a command by its name or alias."""
        name = ALIASES.get(cmd_name, cmd_name)
        if name not in COMMANDS:
            return None
        command = import_module(f"trialkit.cli.{name}_command").command
        assert isinstance(command, click.Command)
        return command

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Complete the name of a command, importing none of them."""
        named = [CompletionItem(name, help=line) for name, (_, line) in COMMANDS.items() if name.startswith(incomplete)]
        return [*named, *click.Command.shell_complete(self, ctx, incomplete)]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """List the commands under their groups."""
        for group in GROUPS:
            with formatter.section(group):
                formatter.write_dl([(name, line) for name, (where, line) in COMMANDS.items() if where == group])


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="trialkit")
@click.pass_context
def group(ctx: click.Context) -> None:
    """Plan, run and answer replicated lettuce-bucket trials in real gardens.

    Begin with: trialkit demo

    Exit status: 0 done, 1 the data have errors, 2 the call was wrong, 3 a result could not be computed, 130 stopped by
    Ctrl-C.
    """
    if os.environ.get("NO_COLOR"):
        ctx.color = False


def main(arguments: list[str] | None = None) -> Any:
    """Run the command line; the entry point of the ``trialkit`` program."""
    begin_lightly()
    interrupted = _watch_for_interrupt()
    try:
        status = group.main(arguments, prog_name="trialkit", standalone_mode=False)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except click.Abort:
        _stop()
    except Exception:
        # A compiled library may swallow the interrupt and fail on what it left undone: that is no bug of ours.
        if interrupted.is_set():
            _stop()
        raise
    finally:
        # An interpreter that ends looks through all that there is for cycles, some times over, for half a second.
        gc.freeze()
    sys.exit(status if isinstance(status, int) else DONE)


def _watch_for_interrupt() -> Event:
    """Remember that Ctrl-C was pressed, besides raising KeyboardInterrupt as usual."""
    interrupted = Event()

    def remember(signum: int, frame: FrameType | None) -> None:
        interrupted.set()
        signal.default_int_handler(signum, frame)

    if current_thread() is main_thread():
        signal.signal(signal.SIGINT, remember)
    return interrupted


def _stop() -> NoReturn:
    click.echo("Stopped. Nothing was left half-written.", err=True)
    sys.exit(130)
