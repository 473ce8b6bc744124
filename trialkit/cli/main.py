"""The ``trialkit`` command: its groups, its lazy subcommands and its exit codes."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module
from io import TextIOWrapper
from threading import current_thread, main_thread
from types import FrameType
from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import CompletionItem

from trialkit._startup import begin_lightly
from trialkit._version import __version__
from trialkit.cli.conversation import Conversation, Group, name_of
from trialkit.domain.written import noted_files

if TYPE_CHECKING:
    from trialkit.documents.answers import FailureKind
    from trialkit.documents.problems import Problem

# Command -> (group in the help, one line of help). The line stands here so that --help imports nothing heavy.
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("Start", "Do the whole job on a bundled, invented example."),
    "desk": ("Start", "Do the whole job in your browser."),
    "help": ("Start", "Show what a command does, as its --help does."),
    "new": ("Plan", "Start a trial folder."),
    "set": ("Plan", "Set what trial.toml, gardens and products say, until the layout is frozen."),
    "plan": ("Plan", "Work out what the trial is worth, what it needs, and when."),
    "layout": ("Plan", "Draw which bucket gets which treatment."),
    "site": ("Garden", "Let a garden join a trial that has begun, withdraw from it or rejoin it."),
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
KINDS: dict[int, FailureKind] = {DATA_ERROR: "data", WRONG_CALL: "call", NOT_COMPUTED: "not computed"}
STOPPED = "Stopped. No file is left half-written."
OUT_OF_MEMORY = (
    "there is not enough memory for this. Close other programs, or allow this one a gigabyte (ulimit -v). Then run the "
    "same command again."
)
LOADER_OUT_OF_MEMORY = ("failed to map segment", "cannot allocate memory", "Cannot allocate memory")


class LazyGroup(Group):
    """A group that imports a command's module only when the command is run."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Name every command."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import a command by its name."""
        if cmd_name not in COMMANDS:
            return None
        command = import_module(f"trialkit.cli.{cmd_name}_command").command
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command of a call, by its name or alias, or name those that are spelled like it."""
        try:
            return super().resolve_command(ctx, [ALIASES.get(args[0], args[0]), *args[1:]])
        except click.NoSuchCommand as error:  # it knows of no command that is imported late
            raise click.NoSuchCommand(error.command_name, possibilities=COMMANDS, ctx=ctx) from None

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
def group() -> None:
    """Plan, run and analyse lettuce trials in the buckets of real gardens.

    Begin with: trialkit demo

    Exit status 0 means that all is done. 1 means that the data have errors. 2 means that the call was wrong, or a file
    could not be read or written. 3 means that a result could not be computed. 130 means that you stopped it by Ctrl-C,
    143 that the system did, and 141 that nobody read on what it printed.
    """


def main(arguments: list[str] | None = None) -> Any:
    """Run the command line; the entry point of the ``trialkit`` program."""
    begin_lightly()
    stopped = _watch_for_stops()
    words = sys.argv[1:] if arguments is None else arguments
    _take_any_console()
    with noted_files() as files:
        talk = Conversation(words, files)
        try:
            status = group.main(words, prog_name="trialkit", standalone_mode=False, obj=talk)
            status = status if isinstance(status, int) else DONE
            if talk.has_begun:  # else help or version was asked for
                status = _end(talk, status, KINDS.get(status), *(talk.asked if status else ()))
        except click.ClickException as error:
            with suppress(click.exceptions.Exit), _quiet_if_unread():
                error.show()
            if isinstance(error, click.UsageError):
                talk.command = talk.command or name_of(error.ctx)
            status, said = error.exit_code, error.format_message().split("\n")
            status = _end(talk, status, KINDS[status], *said, problems=getattr(error, "problems", ()))
        except click.Abort:
            status = _stop(talk, stopped)
        except Exception as error:
            # A compiled library may swallow the interrupt and fail on what it left undone: that is no bug of ours.
            if stopped:
                status = _stop(talk, stopped)
            elif _is_out_of_memory(error):
                click.echo(f"Error: {OUT_OF_MEMORY}", err=True)
                status = _end(talk, NOT_COMPUTED, "not computed", OUT_OF_MEMORY)
            else:
                _end(talk, DATA_ERROR, "fault", f"{type(error).__name__}: {error}")
                raise
        finally:
            # An interpreter that ends looks through all that there is for cycles, some times over, for half a second.
            gc.freeze()
    sys.exit(status)


def _take_any_console() -> None:
    """Have a stream spell what its encoding lacks, as a code page does: strangers write what it cannot show."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper) and stream.errors == "strict":
            stream.reconfigure(errors="backslashreplace")


def _end(
    talk: Conversation, status: int, kind: FailureKind | None, *messages: str, problems: Sequence[Problem] = ()
) -> int:
    """Print the document of a call, where one is asked for; return the exit status."""
    if not talk.wants_json:
        return status
    from trialkit.cli.speaking import print_answer
    from trialkit.documents.answers import Failure
    from trialkit.words.problem_words import told_problem

    failure = None if kind is None else Failure(kind, messages, tuple(map(told_problem, problems)))
    try:
        with _quiet_if_unread():
            print_answer(talk, status, failure)
    except click.exceptions.Exit as unread:
        return unread.exit_code
    return status


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


def _stop(talk: Conversation, stopped: Sequence[int]) -> int:
    with suppress(OSError):  # the terminal may be gone
        click.echo(STOPPED, err=True)
    return _end(talk, BY_SIGNAL + (stopped[0] if stopped else signal.SIGINT), "stopped", STOPPED)


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
