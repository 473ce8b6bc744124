"""What people read keeps to the words of reports/glossary.md, and no two things in the package share a name."""

import ast
import json
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
GLOSSARY = ROOT / "reports" / "glossary.md"
DOCUMENTATION = [ROOT / "README.md", *sorted(set((ROOT / "reports").rglob("*.md")) - {GLOSSARY})]


def _unwanted() -> list[str]:
    rows = [line.split("|") for line in GLOSSARY.read_text("utf-8").splitlines() if line.startswith("| ")]
    return [word for row in rows for word in re.findall(r"`([^`]+)`", row[3])]


def _sentences(path: Path) -> Iterator[str]:
    """Texts of a module that are more than one word; docstrings are for those who read the code."""
    tree = ast.parse(path.read_text("utf-8"))
    documented = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    notes = {id(statement.value) for node in ast.walk(tree) if hasattr(node, "body") and isinstance(node.body, list)
             for statement in node.body if isinstance(statement, ast.Expr)}  # fmt: skip
    commands = path.parent.name == "cli"
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and " " in node.value
            and id(node) not in notes
        ):
            yield node.value
        if commands and isinstance(node, documented) and (help_text := ast.get_docstring(node)):
            yield help_text  # what a command's --help says


def _descriptions(value: object, keys: tuple[str, ...]) -> Iterator[str]:
    if isinstance(value, dict):
        for key, item in value.items():
            if key in keys and isinstance(item, str):
                yield item
            yield from _descriptions(item, keys)
    elif isinstance(value, list):
        for item in value:
            yield from _descriptions(item, keys)


def _texts() -> Iterator[tuple[Path, str]]:
    for path in sorted((ROOT / "trialkit").rglob("*.py")):
        yield from ((path, text) for text in _sentences(path))
    for path in sorted((ROOT / "trialkit").rglob("*.jinja")):
        yield path, re.sub(r"{[{%#].*?[#%}]}|<[^>]*>", " ", path.read_text("utf-8"), flags=re.S)
    for path in DOCUMENTATION:
        yield path, path.read_text("utf-8")
    for path in sorted((ROOT / "schemas").glob("*.json")):
        keys = ("description",) if ".schema" in path.name else ("title", "description")  # there, titles are field names
        yield from ((path, text) for text in _descriptions(json.loads(path.read_text("utf-8")), keys))


def test_the_glossary_names_words_to_avoid() -> None:
    """Else the next test could not fail."""
    assert {"planted head", "mend", "water company"} <= set(_unwanted())


def test_nobody_reads_what_the_glossary_avoids() -> None:
    """On pages, in sentences, in the documentation, in descriptions."""
    avoided = re.compile(rf"\b({'|'.join(map(re.escape, _unwanted()))})\b", re.I)
    found = [
        f"{path.relative_to(ROOT)}: {' '.join(text[max(match.start() - 40, 0) : match.end() + 40].split())}"
        for path, text in _texts()
        for match in avoided.finditer(text)
    ]
    assert not found, "\n".join(found)


@pytest.mark.parametrize("what", ["class", "module"])
def test_no_two_share_a_name(what: str) -> None:
    """A public class or a module is known by its name alone."""
    names: Counter[str] = Counter()
    for path in (ROOT / "trialkit").rglob("*.py"):
        if what == "module":
            names.update([path.stem] if not path.stem.startswith("__") else [])
            continue
        tree = ast.parse(path.read_text("utf-8"))
        names.update(
            node.name for node in tree.body if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
        )
    assert not {name for name, count in names.items() if count > 1}
