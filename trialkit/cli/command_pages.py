"""A documentation page for each command, made from the commands themselves.

Run as a module with a folder it writes them there: ``python -m trialkit.cli.command_pages reports/commands``.
"""

import inspect
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import click

from trialkit.cli.answer_schemas import ANSWERS, TABLE, TEXT
from trialkit.cli.conversation import SHARED_OPTIONS
from trialkit.cli.main import COMMANDS, GROUPS, group

INDEX = "README.md"
SCHEMAS = "../../schemas"
JSON = (
    f"What `--json` prints is described by [answers.schema.json]({SCHEMAS}/answers.schema.json): what was done and "
    "written, or why not, and under `answer` what was asked for."
)
STATUS = (
    "Exit status 0 means that all is done. 1 means that the data have errors. 2 means that the call was wrong. 3 means "
    "that a result could not be computed. 130 means that Ctrl-C stopped it."
)
ERRORS = "An error names the file, the row and the column. It says what was found, what was expected and how to fix it."


def command_pages() -> dict[str, str]:
    """Return every page by its file name: one for each command and subcommand, and an index."""
    top = click.Context(group, info_name="trialkit")
    pages, listed = {}, {}
    for name in COMMANDS:
        command = group.get_command(top, name)
        assert command is not None
        for path, found in _with_subcommands(name, command, top):
            pages[_file(path)] = "\n".join(_page(path, found, top)) + "\n"
            listed[path] = name
    pages[INDEX] = "\n".join(_index(listed)) + "\n"
    return pages


def _with_subcommands(
    name: str, command: click.Command, above: click.Context
) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    yield (name,), command
    if isinstance(command, click.Group):
        here = click.Context(command, info_name=name, parent=above)
        for inner in command.list_commands(here):
            found = command.get_command(here, inner)
            assert found is not None
            yield (name, inner), found


def _file(path: tuple[str, ...]) -> str:
    return f"{'-'.join(path)}.md"


def _index(listed: dict[tuple[str, ...], str]) -> Iterator[str]:
    yield "# Commands"
    for where in GROUPS:
        yield f"\n## {where}\n"
        for name, (section, line) in COMMANDS.items():
            if section != where:
                continue
            yield f"- [`trialkit {name}`]({_file((name,))}): {line}"
            for path in listed:
                if listed[path] == name and len(path) > 1:
                    yield f"  - [`trialkit {' '.join(path)}`]({_file(path)})"
    yield "\n## Options of every command"
    yield "\nThey may stand before the name of the command, or after it."
    yield from _options(SHARED_OPTIONS, click.Context(group, info_name="trialkit"))
    yield f"\n{JSON}"
    yield f"\n{STATUS} {ERRORS}"
    yield "\nMade by `python -m trialkit.cli.command_pages reports/commands`."


def _page(path: tuple[str, ...], command: click.Command, above: click.Context) -> Iterator[str]:
    context = click.Context(command, info_name=" ".join(path), parent=above)
    yield f"# trialkit {' '.join(path)}"
    pieces = " ".join(command.collect_usage_pieces(context))
    yield f"\n```text\ntrialkit {' '.join(path)} {pieces}\n```"
    for paragraph in inspect.cleandoc(command.help or "").split("\n\n"):
        text = " ".join(paragraph.replace("\b", "").split())
        if text.startswith("Example"):
            heading, _, example = text.partition(": ")
            yield f"\n{heading}:\n\n```sh\n{example}\n```"
        else:
            yield f"\n{text}"
    yield from _options([option for option in command.params if isinstance(option, click.Option)], context)
    if " ".join(path) in ANSWERS:
        yield f"\n[Options of every command]({INDEX}#options-of-every-command). {_answer(' '.join(path))}"
    yield f"\n{STATUS}"


def _options(options: Sequence[click.Option], context: click.Context) -> Iterator[str]:
    records = [record for option in options if (record := option.get_help_record(context))]
    if records:
        yield "\n| option | |\n|---|---|"
    for names, text in records:
        yield f"| `{_cell(names)}` | {_cell(text)} |"


def _answer(name: str) -> str:
    told = {TEXT: "the text", TABLE: f"a [Table Schema]({SCHEMAS}/heads.json)"}
    kinds = [
        f"`{kind.__name__}`" if isinstance(kind, type) else told.get(kind, f"as [{kind}]({SCHEMAS}/{kind}) says")
        for kind in ANSWERS[name]
    ]
    return f"With `--json`, its `answer` is {' or '.join(kinds)}."


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    for file, page in command_pages().items():
        (folder / file).write_text(page, encoding="utf-8")
