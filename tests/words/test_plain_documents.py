"""What commands print and what documents say is told in short sentences: nobody holds more than 24 words in mind."""

import json
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from sentences import MOST_WORDS, markdown_sentences, module_sentences, sentences, too_long, words
from trialkit.cli.main import COMMANDS, group
from trialkit.protocol import sections, starting
from trialkit.protocol.county import County, county_text
from trialkit.protocol.protocol_text import protocol_text
from trialkit.protocol.trial_protocol import parse_protocol
from trialkit.tables.rule_book import RULES

ROOT = Path(__file__).parents[2]
DOCUMENTS = [
    *(ROOT / f"{name}.md" for name in ("README", "CONTRIBUTING", "SECURITY")),
    *sorted((ROOT / "reports").rglob("*.md")),
]
SCHEMAS = sorted((ROOT / "schemas").glob("*.json"))
SPOKEN = ("description", "title", "trialkit:howToFix")
"""Keys of a schema under which a text stands."""
MODULES = [
    *sorted((ROOT / "trialkit" / "cli").glob("*.py")),
    *sorted((ROOT / "trialkit" / "protocol").glob("*.py")),
    *sorted((ROOT / "trialkit" / "tables").glob("*.py")),
    *sorted((ROOT / "trialkit" / "returns").glob("*.py")),
    *sorted((ROOT / "trialkit" / "rules").glob("*.py")),
    *sorted((ROOT / "trialkit" / "evidence").glob("*.py")),
    *(
        ROOT / "trialkit" / "words" / f"{name}_words.py"
        for name in ("problem", "repair", "merge", "message", "mix", "file", "record_check")
    ),
]


def named(paths: list[Path]) -> list[str]:
    """Names of files as a test is called by them."""
    return [path.relative_to(ROOT).as_posix() for path in paths]


@pytest.mark.parametrize("path", DOCUMENTS, ids=named(DOCUMENTS))
def test_documents(path: Path) -> None:
    """Paragraphs, lists and the words of tables; not code."""
    found = markdown_sentences(path.read_text("utf-8"))
    assert found
    assert not too_long(found)


def _helps(command: click.Command, above: click.Context | None, name: str) -> Iterator[str]:
    """Every text of a command's help, and of the commands in it."""
    here = click.Context(command, parent=above, info_name=name)
    yield command.help or ""
    for option in command.params:
        record = option.get_help_record(here)
        yield record[1] if record else ""
    if isinstance(command, click.Group):
        for inner in command.list_commands(here):
            found = command.get_command(here, inner)
            assert found is not None
            yield from _helps(found, here, inner)


def test_help_of_commands() -> None:
    """What ``--help`` says of every command and option, examples aside; and the lines of the list of commands."""
    paragraphs = [part for text in _helps(group, None, "trialkit") for part in text.split("\n\n")]
    told = [part for part in paragraphs if not part.strip().startswith("Example")]
    told += [line for _, line in COMMANDS.values()]
    assert len(told) > 150
    assert not too_long([one for text in told for one in sentences(text)])


def test_rules() -> None:
    """Titles, reasons and remedies of every rule."""
    told = [text for rule in RULES.values() for text in (rule.title, rule.why, rule.how_to_fix)]
    assert not too_long([one for text in told for one in sentences(text)])


@pytest.mark.parametrize("path", MODULES, ids=named(MODULES))
def test_texts_in_modules(path: Path) -> None:
    """Texts that are filled in with facts, each of which is taken for one word."""
    assert not too_long(module_sentences(path))


def _descriptions(value: object) -> Iterator[str]:
    if isinstance(value, dict):
        for key, item in value.items():
            if key in SPOKEN and isinstance(item, str):
                yield item
            else:
                yield from _descriptions(item)
    elif isinstance(value, list):
        for item in value:
            yield from _descriptions(item)


@pytest.mark.parametrize("path", SCHEMAS, ids=named(SCHEMAS))
def test_schemas(path: Path) -> None:
    """Titles and descriptions of columns and documents, and how to fix a value."""
    found = [one for text in _descriptions(json.loads(path.read_text("utf-8"))) for one in sentences(text)]
    assert found
    assert not too_long(found)


def _remarks(text: str) -> list[str]:
    """Remarks of a TOML file: what stands behind a key or above it."""
    return [line.split("# ", 1)[1] for line in text.splitlines() if "# " in line]


def test_remarks_in_files() -> None:
    """A trial.toml as it is begun, and as it is written from a ledger; a county.toml."""
    begun = starting.new_trial_text(
        starting.NewTrial("Which dose?", ["Fenleaf"], [4.0, 6.0], [], ["FERN"], {"dose": 4.0}, seed=1)
    )
    written = protocol_text(parse_protocol(begun), {})
    for text in (begun, written, county_text(County(name="Larkmoor County"))):
        assert len(_remarks(text)) > 7
        assert not too_long([one for remark in _remarks(text) for one in sentences(remark)])


def test_keys_are_explained() -> None:
    """Every key of the protocol says what it is, not only whose."""
    fragments = ("Of ", "That ", "Between ", "After ")
    for kind in vars(sections).values():
        if isinstance(kind, type) and issubclass(kind, sections.Section) and kind is not sections.Section:
            for name, field in kind.model_fields.items():
                told = [one for one in field.metadata if isinstance(one, str)]
                assert told, name
                assert not told[0].startswith(fragments), told


def test_a_sentence_ends_where_it_should(tmp_path: Path) -> None:
    """Else the other tests could not fail."""
    text = "Write 5.8, e.g. 6. So it ends! Did R. A. Fisher, as in Rao et al. 1992?\n\nAn empty line ends one"
    assert [len(words(one)) for one in sentences(text)] == [4, 3, 10, 5]
    long = " ".join(["word"] * (MOST_WORDS + 1))
    assert too_long([long, long.removeprefix("word ")]) == [f"{MOST_WORDS + 1} words: {long}"]
    page = "# A title\n\nA [link](there) and `a name of it`.\n\n```sh\nno words\n```\n\n"
    page += "| a | b |\n|---|---|\n| c. D | e |\n"
    found = ["A title", "A link and {}.", "a", "b", "c.", "D", "e"]
    assert markdown_sentences(page) == found
    module = tmp_path / "module.py"
    module.write_text('"""Left out."""\nSAID = f"{len([])} of " f"{1} files. Next: {2}" + "!"\nOTHER = "One | two"\n')
    assert module_sentences(module) == ["{} of {} files.", "Next: {}!", "One", "two"]
