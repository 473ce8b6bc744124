"""The ``trialkit`` command: its groups, its lazy subcommands and its exit codes."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from threading import current_thread, main_thread
from types import FrameType
from typing import Any, NoReturn

import click
from click.shell_completion import CompletionItem

from trialkit._startup import begin_lightly
from trialkit._version import __version__

# Command -> (group in the help, one line of help). The line stands here so that --help imports nothing heavy.
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("Start", "Do the whole job on a bundled, invented example."),
    "desk": ("Start", "Do the whole job in your browser."),
    "new": ("Plan", "Start a trial folder."),
    "set": ("Plan", "Set what trial.toml, gardens and products say, until the layout is frozen."),
    "plan": ("Plan", "Work out what the trial is worth, what it needs, and when."),
    "layout": ("Plan", "Draw which bucket gets which treatment."),
    "site": ("Garden", "Let a garden join a trial that has begun, or withdraw from it."),
    "forms": ("Garden", "Write bucket cards, record sheets, workbooks and phone forms."),
    "merge": ("Garden", "Merge returned workbooks, CSV files and phone files."),
    "correct": ("Garden", "Put one record right, and say why."),
    "check": ("Garden", "Find every problem in a trial folder."),
    "mix": ("Garden", "Work out nutrient and acid for a bucket of your water."),
    "schema": ("Garden", "Show what each column of a table means and takes."),
    "analyse": ("Answer", "Analyse the records and say what to recommend."),
    "report": ("Answer", "Write the report, as one page."),
    "pack": ("Remember", "Pack a trial as open data that others can analyse again."),
    "county": ("Remember", "Set the county that the handout names: contact, logo, when to sow."),
    "recommend": ("Remember", "Write the recommended defaults and the gardeners' handout."),
    "evidence": ("Remember", "Keep accepted trials in a ledger and pool them over seasons."),
}
ALIASES = {"analyze": "analyse"}
GROUPS = ("Start", "Plan", "Garden", "Answer", "Remember")

BY_SIGNAL, NOBODY_READS = 128, 141
"""As a shell tells that a signal ended a program, and as one that could not print to a closed pipe ends."""
STOPS = ("SIGINT", "SIGTERM", "SIGHUP")

DONE, DATA_ERROR, WRONG_CALL, NOT_COMPUTED = 0, 1, 2, 3
OUT_OF_MEMORY = (
    "there is not enough memory for this. Close other programs, or allow this one a gigabyte (ulimit -v). Then run the "
    "same command again."
)
LOADER_OUT_OF_MEMORY = ("failed to map segment", "cannot allocate memory", "Cannot allocate memory")


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

    def make_context(self, *args: Any, **kwargs: Any) -> click.Context:
        """Take the command line apart, which may print help."""
        with _quiet_if_unread():
            return super().make_context(*args, **kwargs)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command."""
        with _quiet_if_unread():
            return super().invoke(ctx)

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
    """Plan, run and analyse lettuce trials in the buckets of real gardens.

    Begin with: trialkit demo

    Exit status 0 means that all is done. 1 means that the data have errors. 2 means that the call was wrong, or a file
    could not be read or written. 3 means that a result could not be computed. 130 means that you stopped it by Ctrl-C,
    143 that the system did, and 141 that nobody read on what it printed.
    """
    if os.environ.get("NO_COLOR"):
        ctx.color = False


def main(arguments: list[str] | None = None) -> Any:
    """Run the command line; the entry point of the ``trialkit`` program."""
    begin_lightly()
    stopped = _watch_for_stops()
    try:
        status = group.main(arguments, prog_name="trialkit", standalone_mode=False)
    except click.ClickException as error:
        with suppress(click.exceptions.Exit), _quiet_if_unread():
            error.show()
        sys.exit(error.exit_code)
    except click.Abort:
        _stop(stopped)
    except Exception as error:
        # A compiled library may swallow the interrupt and fail on what it left undone: that is no bug of ours.
        if stopped:
            _stop(stopped)
        if not _is_out_of_memory(error):
            raise
        click.echo(f"Error: {OUT_OF_MEMORY}", err=True)
        sys.exit(NOT_COMPUTED)
    finally:
        # An interpreter that ends looks through all that there is for cycles, some times over, for half a second.
        gc.freeze()
    sys.exit(status if isinstance(status, int) else DONE)


def _watch_for_stops() -> list[int]:
    """Take being ended by the system as Ctrl-C is taken, by KeyboardInterrupt, and remember the signals that came."""
    stopped: list[int] = []

    def remember(signum: int, frame: FrameType | None) -> None:
        stopped.append(signum)
        signal.default_int_handler(signum, frame)

    if current_thread() is main_thread():
        for name in STOPS:
            number = getattr(signal, name, None)  # Windows has not all of them
            if number is not None and (name == "SIGINT" or signal.getsignal(number) != signal.SIG_IGN):
                signal.signal(number, remember)  # what nohup has us ignore stays ignored
    return stopped


def _is_out_of_memory(error: BaseException | None) -> bool:
    """Whether memory ran out, were it while a library was loaded, which wraps the loader's words in its own."""
    while error is not None:
        unmapped = isinstance(error, ImportError) and any(words in str(error) for words in LOADER_OUT_OF_MEMORY)
        if isinstance(error, MemoryError) or unmapped:
            return True
        error = error.__cause__ or error.__context__
    return False


def _stop(stopped: list[int]) -> NoReturn:
    with suppress(OSError):  # the terminal may be gone
        click.echo("Stopped. No file is left half-written.", err=True)
    sys.exit(BY_SIGNAL + (stopped[0] if stopped else signal.SIGINT))


@contextmanager
def _quiet_if_unread() -> Iterator[None]:
    """End without a word where whoever read what we print has seen enough, and print nothing more."""
    try:
        yield
    except BrokenPipeError:
        for stream in (sys.stdout, sys.stderr):
            with suppress(OSError, ValueError, AttributeError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
        raise click.exceptions.Exit(NOBODY_READS) from None
