"""Pages as they are read, line by line."""

import re
from collections.abc import Sequence
from html.parser import HTMLParser
from pathlib import Path

from sentences import PLACEHOLDER
from trialkit.domain.units import Measures

INLINE = {"a", "b", "bdi", "cite", "code", "em", "i", "input", "small", "span", "strong"}
"""Within a sentence; every other element begins a new one."""
APART = {"card-text", "card-note", "card-before", "state", "remark", "unseen"}
"""Classes of lines of their own."""
UNREAD = {"script", "style", "svg", "pre", "head"}
VOID = {"br", "hr", "img", "input", "link", "meta"}


class _Reader(HTMLParser):
    """Collects the lines of a page, each a run of text that no block breaks, in one way of measuring."""

    def __init__(self, way: Measures, within: Sequence[str]) -> None:
        super().__init__()
        self.lines: list[str] = [""]
        self._way, self._within = way, within
        self._open: list[tuple[str, bool, bool, bool]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        classes = set((told.get("class") or "").split())
        other = self._way != "both" and {"kitchen", "metric"} & classes - {self._way}
        is_left_out = tag in UNREAD or bool(other) or ("said" in classes and self._way not in classes)
        is_apart = tag not in INLINE or bool(APART & classes)
        if is_apart:
            self.lines.append("")
        if told.get("aria-label") and not self._is_silent():
            self.lines += [told["aria-label"] or "", ""]
        if tag not in VOID:
            is_within = not self._within or self._is_within() or told.get("id") in self._within
            self._open.append((tag, is_left_out, is_apart, is_within))

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


def page_lines(page: str, way: Measures = "both", within: Sequence[str] = ()) -> list[str]:
    """Return the lines of a page, or of its elements of some identities, in the order in which they are read."""
    reader = _Reader(way, within)
    reader.feed(page)
    return [" ".join(line.split()) for line in reader.lines if line.strip()]


def template_lines(path: Path) -> list[str]:
    """Return the lines of a template; what is filled in counts as one word."""
    text = re.sub(r"{#.*?#}|{%.*?%}", "", path.read_text("utf-8"), flags=re.DOTALL)
    return page_lines(re.sub(r"{{.*?}}", PLACEHOLDER, text, flags=re.DOTALL))
