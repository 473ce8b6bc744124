"""Sentences of what people read, and how many words each has: of plain text, documents and texts in modules."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from markdown_it import MarkdownIt

MOST_WORDS = 24
PLACEHOLDER = "{}"
ABBREVIATED = r"(?<!\be\.g\.)(?<!\bi\.e\.)(?<!\bal\.)(?<!\bcf\.)(?<!\bvs\.)(?<!\b[A-Z]\.)"
END = re.compile(rf"(?:(?<=[.!?…])|(?<=[.!?…][\"”’»)*_`])){ABBREVIATED}\s+|\n\s*\n")
WORD = re.compile(r"\S*[\w{]\S*")


def sentences(text: str) -> list[str]:
    """Return the sentences of a plain text: a full stop, question mark or empty line ends one, nothing else does."""
    return [" ".join(part.split()) for part in END.split(text) if part and part.strip()]


def words(sentence: str) -> list[str]:
    """Return what is read as a word: whatever holds a letter, a figure or a placeholder between two spaces."""
    return WORD.findall(sentence)


def too_long(found: list[str]) -> list[str]:
    """Return those of some sentences that have more words than a reader holds in mind, with their number."""
    return [f"{len(words(one))} words: {one}" for one in found if len(words(one)) > MOST_WORDS]


def markdown_sentences(text: str) -> list[str]:
    """Return the sentences of a document, each paragraph and cell by itself; blocks of code and pictures are left out.

    What stands in code within a sentence is one word: it is a name.
    """
    found = []
    for token in MarkdownIt("commonmark").enable("table").parse(text):
        if token.type == "inline":
            spoken = {"text": lambda one: one.content, "code_inline": lambda _: PLACEHOLDER}
            spoken |= {"softbreak": lambda _: " ", "hardbreak": lambda _: "\n\n"}
            found += sentences("".join(spoken[one.type](one) for one in token.children or [] if one.type in spoken))
    return found


def module_sentences(path: Path) -> list[str]:
    """Return the sentences of a module's texts; a value put into one is a word, and docstrings are left out.

    A line ends a sentence, and so does the bar between the parts of a message: what goes on is one text.
    """
    tree = ast.parse(path.read_text("utf-8"))
    notes = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    parts = (part for text in _texts(tree, notes) for part in re.split(r"\n| \| ", text))
    return [one for part in parts for one in sentences(part)]


def _texts(node: ast.AST, notes: set[int]) -> Iterator[str]:
    if id(node) in notes:
        return
    text = _text(node)
    if text is not None:
        yield text
        inside = [one for one in ast.walk(node) if isinstance(one, ast.FormattedValue)]
        for value in inside:
            yield from _texts(value.value, notes)
        return
    for child in ast.iter_child_nodes(node):
        yield from _texts(child, notes)


def _text(node: ast.AST) -> str | None:
    """Return a text as it is read; None of what is no text."""
    match node:
        case ast.Constant(value=str(value)):
            return value
        case ast.JoinedStr(values=values):
            return "".join(_text(value) or PLACEHOLDER for value in values)
        case ast.BinOp(op=ast.Add(), left=left, right=right):
            texts = _text(left), _text(right)
            return None if texts == (None, None) else "".join(PLACEHOLDER if one is None else one for one in texts)
    return None
