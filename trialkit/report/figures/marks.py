"""The marks that mean the same in every picture. Shape and filling say it; colour only repeats it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from trialkit.pages.palette import LIGHT
from trialkit.report.reading import Part

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.transforms import Transform


@dataclass(frozen=True)
class Mark:
    """A marker's shape, the palette role of its colour, whether it is filled, its size in pixels."""

    shape: str
    role: str
    is_filled: bool
    size: float


PARTS: Mapping[Part, Mark] = {
    "recommended": Mark("D", "leaf", True, 9),
    "kept": Mark("s", "leaf", True, 9),
    "current": Mark("s", "clay", False, 9),
    "rival": Mark("^", "plum", True, 9),
    "recorded": Mark("o", "ink", False, 6.5),
    "other": Mark("o", "ink", True, 6.5),
}
PART_NAMES: Mapping[Part, str] = {
    "recommended": "filled diamond: recommended",
    "kept": "filled square: current practice, kept",
    "current": "open square: current practice",
    "rival": "triangle: best alternative",
    "recorded": "open circle: as recorded",
    "other": "filled circle: other treatments",
}
RAW_BUCKET = Mark("o", "raw", True, 4)
RAW_MEAN = Mark("o", "teal", False, 7.5)


def draw_interval(
    axes: Axes, mark: Mark, at: float, mean: float, lower: float, upper: float, *, vertical: bool = False
) -> None:
    """Draw a mean over its interval."""
    limits, place = [lower, upper], [at, at]
    x, y = (place, limits) if vertical else (limits, place)
    axes.plot(x, y, color=LIGHT[mark.role], linewidth=2.6, zorder=4)
    draw_mark(axes, mark, *((at, mean) if vertical else (mean, at)))


def draw_mark(axes: Axes, mark: Mark, x: float, y: float, *, transform: Transform | None = None) -> None:
    """Draw a marker; an open one is filled with the card's colour, so that it reads over lines."""
    axes.plot(
        [x],
        [y],
        linestyle="none",
        marker=mark.shape,
        markersize=mark.size,
        markerfacecolor=LIGHT[mark.role if mark.is_filled else "card"],
        markeredgecolor=LIGHT[mark.role],
        markeredgewidth=2,
        zorder=5,
        clip_on=False,
        transform=transform or axes.transData,
    )


def draw_buckets(axes: Axes, at: Sequence[float], values: Sequence[float], orient: Literal["h", "v"]) -> None:
    """Draw raw bucket means as dots that step aside for one another."""
    from trialkit.report.figures.dots import Dots

    if values:
        dots = Dots(np.array(at, float), np.array(values, float), upright=orient == "v", colour=LIGHT[RAW_BUCKET.role])
        axes.add_line(dots)
