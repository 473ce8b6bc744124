"""What of a page in another language is still English."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from html.parser import HTMLParser

from trialkit.domain.table_names import TABLE_NAMES
from trialkit.languages import catalogue
from trialkit.tables.table_schema import load_schema

READ_ALOUD = ("aria-label", "alt", "title", "placeholder", "content")
"""Attributes that somebody reads or hears; of ``content`` only that of a description."""
NOT_READ = frozenset(("style", "script", "template"))
EMPTY = frozenset(
    ("area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr")
)
COMMON = """
    the and of to with for from is are it its that this at by on not or your you each every into until before
    after when where what which then than if be was were have had do does never always only about less more out
    off up down over under there their they them who how why bucket buckets head heads water garden gardens
    harvest harvested weight adviser record sheet sheets day days week weeks teaspoon teaspoons tablespoon cup
    cups lid lids line lines leave write read add fill stir place block row visit visits ready yes seed seedling
    leaf leaves acid vinegar nutrient card cards page trial level plant plants light open shut keep wash pour
    wait ask
"""
"""Words that an English page can hardly do without, and that mean nothing in Spanish."""
_COMMON = frozenset(COMMON.split())
SOURCES = ("Knott's Handbook for Vegetable Growers", "University of Hawaii")
"""Titles and houses of sources, which are cited as they are."""
_FIELDS = [field for table in TABLE_NAMES for field in load_schema(table).fields]
IN_FILES = tuple(
    sorted(
        {f"{table}.csv" for table in TABLE_NAMES}
        | {field.name for field in _FIELDS if "_" in field.name}
        | {word for field in _FIELDS for word in field.listed if "_" in word}
        | {"yes", "harvested", 'bucket ""', 'head ""', "un valor de bucket", "bucket y head"}
        | {"heads, solution o visits", "heads, solution y visits", "en note", "columna note", "bucket, head, weight_g"}
        | {"trial.toml", "trial.started_on", "bucket.heads", "bucket.volume_l", "layout.block_size", "layout.blocks"}
        | {"layout.kind", "schedule.harvest_after_days", "randomised complete blocks", "row-column", "--weights oz"}
        | {"--heading"}
    )
)
"""Files, columns, values of columns, keys and options, which have one name in every language."""
QUOTED = re.compile(r"\"[^\"]*\"|(?<!\w)'[^']*'(?!\w)|“[^”]*”")
WORD = re.compile(r"[^\W\d_]+(?:['\u2019][^\W\d_]+)?")


def english_left(html: str, names: Iterable[str], language: str = "es") -> list[str]:
    """List the texts of a page, seen or read aloud, that are English though the page is not.

    `names` are what the trial itself calls things: its gardens, cultivars, products, titles. What stands in an element
    whose ``lang`` is English, such as the title of a source, may be English.
    """
    return english_in(texts_of(html), names, language)


def english_in(texts: Iterable[str], names: Iterable[str], language: str = "es") -> list[str]:
    """List those of some texts that are English: messages that have a translation, and texts with common words."""
    said = _said_otherwise(language)
    ordered = sorted({_plain(name) for name in (*names, *SOURCES) if name.strip()}, key=len, reverse=True)
    return [text for text in dict.fromkeys(map(_plain, texts)) if text and _is_english(text, ordered, said)]


def english_said(texts: Iterable[str], names: Iterable[str] = (), language: str = "es") -> list[str]:
    """List what of a check's or a merge's sentences is English, but for what they quote and what files hold."""
    return english_in((QUOTED.sub('""', text) for text in texts), (*IN_FILES, *names), language)


def _is_english(text: str, names: Sequence[str], said: frozenset[str]) -> bool:
    if text in names:
        return False
    if text in said:
        return True
    for name in names:
        text = text.replace(name, " ")
    return not _COMMON.isdisjoint(word.lower() for word in WORD.findall(text))


def _said_otherwise(language: str) -> frozenset[str]:
    """Messages that this language says in other words."""
    return frozenset(
        _plain(text)
        for message in catalogue(language)
        if message.id and message.string
        for text in ([message.id] if isinstance(message.id, str) else message.id)
        if text not in ([message.string] if isinstance(message.string, str) else message.string)
    )


def _plain(text: str) -> str:
    return re.sub(r"\s+", " ", text).strip()


def texts_of(html: str) -> list[str]:
    """Gather what is read or heard of a page, but for what its ``lang`` says is English on a page that is not."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    return list(reader.texts)


class _Reader(HTMLParser):
    """Reads a page's texts, with whether each stands where nothing is read, or where English is declared."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: list[str] = []
        self._within: list[tuple[str, bool]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        is_apart = self._is_apart or tag in NOT_READ or (tag != "html" and (told.get("lang") or "").startswith("en"))
        if not is_apart:
            self.texts += _attributes(told)
        if tag not in EMPTY:
            self._within.append((tag, is_apart))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in EMPTY:
            self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        for depth in range(len(self._within) - 1, -1, -1):
            if self._within[depth][0] == tag:
                del self._within[depth:]
                return

    def handle_data(self, data: str) -> None:
        if not self._is_apart:
            self.texts.append(data)

    @property
    def _is_apart(self) -> bool:
        return bool(self._within) and self._within[-1][1]


def _attributes(told: dict[str, str | None]) -> Iterator[str]:
    for name in READ_ALOUD:
        if told.get(name) and (name != "content" or told.get("name") == "description"):
            yield told[name] or ""
