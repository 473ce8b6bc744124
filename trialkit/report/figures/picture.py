"""A picture as a value: its finding, its drawings, its data."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from trialkit.pages.table import Table
from trialkit.report.figures.sheet import draw_twice
from trialkit.words.measures import Sentence

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class Probe:
    """A row of a drawing that can be pointed at: its estimate, and what lies behind it."""

    label: str | Sentence
    words: str | Sentence
    # Where the row lies in each drawing: top and height in the drawing's units, a space between.
    wide: str
    narrow: str


@dataclass(frozen=True)
class Picture:
    """A picture and all that stands in for it."""

    name: Annotated[str, "Unique on the page; letters, digits and hyphens."]
    finding: Annotated[str | Sentence, "What the picture shows, as a heading."]
    reading: Annotated[str | Sentence, "How to read it."]
    alternative: Annotated[str | Sentence, "For those who can't see it: its kind and its finding in numbers."]
    # SVG.
    wide: str
    narrow: str
    tables: Annotated[tuple[Table, ...], "The data drawn."]
    probes: Annotated[tuple[Probe, ...], "Rows that can be pointed at."] = ()


def drawn_picture(
    name: str,
    finding: str | Sentence,
    reading: str | Sentence,
    alternative: str | Sentence,
    draw: Callable[[bool], Figure],
    tables: Iterable[Table | None],
    probes: tuple[Probe, ...] = (),
) -> Picture:
    """Draw a picture for a desk and for a phone, as `draw_twice`; put beside it those of its tables that there are."""
    wide, narrow = draw_twice(name, draw)
    return Picture(name, finding, reading, alternative, wide, narrow, tuple(filter(None, tables)), probes)
