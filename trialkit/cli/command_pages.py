"""A documentation page for each command, made from the commands themselves.

Run as a module with a folder it writes them there: ``python -m trialkit.cli.command_pages reports/commands``.
"""

import inspect
import sys
from collections.abc import Iterator
from pathlib import Path

import click

from trialkit.cli.answer_schemas import ANSWERS
from trialkit.cli.main import COMMANDS, GROUPS, group

INDEX = "README.md"
SCHEMA = "../../schemas/answers.schema.json"
RESULTS, RECOMMENDED = "../../schemas/results.schema.json", "../../schemas/recommended.schema.json"
SCHEMAS = {"analyse": RESULTS, "recommend": RECOMMENDED, "evidence pool": RECOMMENDED}
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
    records = [option.get_help_record(context) for option in command.params if isinstance(option, click.Option)]
    if records:
        yield "\n| option | |\n|---|---|"
    for record in filter(None, records):
        yield f"| `{_cell(record[0])}` | {_cell(record[1])} |"
    if any(parameter.name == "as_json" for parameter in command.params):
        yield f"\nThe answer of `--json`: {_answer(' '.join(path))}."
    yield f"\n{STATUS}"


def _answer(name: str) -> str:
    if name == "schema":
        return "a [Table Schema](../../schemas/heads.json)"
    if name in SCHEMAS:
        return f"[{Path(SCHEMAS[name]).name}]({SCHEMAS[name]})"
    found = " and ".join(f'"{key}"' for key in ANSWERS if key == name or key.startswith(f"{name} --"))
    return f"[answers.schema.json]({SCHEMA}), under {found}"


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    for file, page in command_pages().items():
        (folder / file).write_text(page, encoding="utf-8")
