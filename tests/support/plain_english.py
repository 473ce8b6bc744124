"""Sentences as people read them, from pages and from modules, and how long each is."""

import ast
import re
from collections.abc import Iterable, Iterator, Sequence
from html.parser import HTMLParser
from pathlib import Path

from trialkit.domain.units import Measures

MOST_WORDS = 24
INLINE = {"a", "b", "bdi", "cite", "code", "em", "i", "input", "small", "span", "strong"}
"""Within a sentence; every other element begins a new one."""
APART = {"card-text", "card-note", "card-before", "state", "remark", "unseen"}
"""Classes of lines of their own."""
UNREAD = {"script", "style", "svg", "pre", "head", "time"}
VOID = {"br", "hr", "img", "input", "link", "meta"}
END = re.compile(r"(?<=[.?!])[”)]*(?:\s+|$)")
WORD = re.compile(r"[^\W_]")
PLACEHOLDER = "x"


class _Reader(HTMLParser):
    """Collects the lines of a page, each a run of text that no block breaks, in one way of measuring."""

    def __init__(self, way: Measures, within: Sequence[str]) -> None:
        super().__init__()
        self.lines: list[str] = [""]
        self._way, self._within = way, within
        self._open: list[tuple[str, bool, bool, bool]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        classes = (told.get("class") or "").split()
        other = self._way != "both" and {"kitchen", "metric"} & set(classes) - {self._way}
        is_left_out = tag in UNREAD or bool(other) or ("said" in classes and self._way not in classes)
        is_apart = tag not in INLINE or bool(APART & set(classes))
        if is_apart:
            self.lines.append("")
        if told.get("aria-label") and not self._is_silent():
            self.lines += [told["aria-label"] or "", ""]
        if tag not in VOID:
            wanted = not self._within or self._is_within() or told.get("id") in self._within
            self._open.append((tag, is_left_out, is_apart, wanted))

    def handle_endtag(self, tag: str) -> None:
        while self._open:
            name, _, is_apart, _ = self._open.pop()
            if is_apart:
                self.lines.append("")
            if name == tag:
                return

    def handle_data(self, data: str) -> None:
        if not self._is_silent():
            self.lines[-1] += data

    def _is_within(self) -> bool:
        return bool(self._open) and self._open[-1][3]

    def _is_silent(self) -> bool:
        return any(one[1] for one in self._open) or bool(self._within and not self._is_within())


def lines_of(page: str, way: Measures = "both", within: Sequence[str] = ()) -> list[str]:
    """Return the lines of a page, or of its elements of some identities, in the order in which they are read."""
    reader = _Reader(way, within)
    reader.feed(page)
    return [" ".join(line.split()) for line in reader.lines if line.strip()]


def literals_of(path: Path) -> Iterator[str]:
    """Return the texts of a module that are more than a word, each placeholder as one word; docstrings aside."""
    tree = ast.parse(path.read_text("utf-8"))
    notes = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    parts = {id(value) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for value in node.values}
    for node in ast.walk(tree):
        if id(node) in notes or id(node) in parts:
            continue
        text = ""
        if isinstance(node, ast.JoinedStr):
            text = "".join(_literal(value) for value in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        if " " in text.strip():
            yield " ".join(text.split())


def _literal(value: ast.expr) -> str:
    return str(value.value) if isinstance(value, ast.Constant) else PLACEHOLDER


def template_lines(path: Path) -> list[str]:
    """Return the lines of a template; what is filled in counts as one word."""
    text = re.sub(r"{#.*?#}|{%.*?%}", "", path.read_text("utf-8"), flags=re.DOTALL)
    return lines_of(re.sub(r"{{.*?}}", PLACEHOLDER, text, flags=re.DOTALL))


def sentences_of(lines: Iterable[str]) -> Iterator[str]:
    """Split lines at full stops, question marks and exclamation marks; neither colon nor semicolon ends a sentence."""
    for line in lines:
        yield from (one.strip() for one in END.split(line) if one.strip())


def words_of(sentence: str) -> list[str]:
    """Return the words of a sentence: whatever stands between blanks and has a letter or a digit."""
    return [word for word in sentence.split() if WORD.search(word)]


def too_long(lines: Iterable[str]) -> list[str]:
    """Return the sentences that have too many words, each once, with how many."""
    found = dict.fromkeys(one for one in sentences_of(lines) if len(words_of(one)) > MOST_WORDS)
    return [f"{len(words_of(one))}: {one}" for one in found]
