"""Dots that step aside for one another."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.lines import Line2D
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

SIZE_PX = 3.8
APART_PX = 4.18
"""Between the middles of two dots: a little more than they are wide."""
SHARE_OF_ROOM = 0.4
"""Of the distance between two places, how far dots step aside from theirs at the most."""


def stepped_aside(along: Sequence[float], apart: float = APART_PX) -> list[float]:
    """How far each dot at a place steps aside so that none lies on another; the lowest goes first, and stays.

    Each takes the free position nearest the middle, among those that touch a neighbour; of two as near, the one on the
    left.

    Parameters
    ----------
    along : sequence of float
        Where each dot lies in the direction that tells its value, in pixels.
    apart : float
        Least distance between two dots' middles.

    Examples
    --------
    >>> [round(aside, 1) for aside in stepped_aside([10.0, 10.0, 10.0, 30.0], apart=4.0)]
    [0.0, -4.0, 4.0, 0.0]
    """
    found = [0.0] * len(along)
    placed: list[tuple[float, float]] = []
    for i in sorted(range(len(along)), key=lambda i: along[i]):
        near = [(aside, along[i] - at) for aside, at in placed if along[i] - at < apart]
        touching = [(aside, (apart**2 - gap**2) ** 0.5) for aside, gap in near]
        candidates = [0.0, *(aside + sign * step for aside, step in touching for sign in (-1, 1))]
        least = apart**2 * (1 - 1e-9)  # rounding: those that touch are free
        free = (c for c in sorted(candidates, key=abs) if all((c - a) ** 2 + gap**2 >= least for a, gap in near))
        found[i] = next(free)
        placed.append((found[i], along[i]))
    return found


class Dots(Line2D):
    """Dots at places along one axis and values along the other, placed when limits and size of the sheet are known."""

    def __init__(self, at: FloatArray, values: FloatArray, *, upright: bool, colour: str) -> None:
        self.at, self.values, self.upright = at, values, upright
        super().__init__(
            *((at, values) if upright else (values, at)),
            linestyle="none",
            marker="o",
            markersize=SIZE_PX,
            markeredgewidth=0,
            color=colour,
            zorder=2,
        )

    def draw(self, renderer: Any) -> None:
        """Step aside, then draw."""
        across, along = (0, 1) if self.upright else (1, 0)
        places = np.unique(self.at)
        data = np.column_stack([self.at, self.values] if self.upright else [self.values, self.at])
        pixels = self.get_transform().transform(data)
        for place in places:
            here = np.flatnonzero(self.at == place)
            pixels[here, across] += stepped_aside(pixels[here, along].tolist())
        placed = self.get_transform().inverted().transform(pixels)[:, across]
        room = SHARE_OF_ROOM * float(np.diff(places).min(initial=np.inf))
        placed = np.clip(placed, self.at - room, self.at + room)
        self.set_data(*((placed, self.values) if self.upright else (self.values, placed)))
        super().draw(renderer)
