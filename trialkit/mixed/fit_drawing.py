"""Pictures of a fit as matplotlib axes: plain, and told apart by people who see colours differently.

Colours are those of Okabe & Ito (2008), which all kinds of colour vision tell apart, beside marks of their own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes

COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000")
MARKS = ("o", "s", "^", "D", "v", "P", "X")
# Of a group's width on the axis, what its points are spread over.
SPREAD = 0.5
ROW_INCHES, WIDTH_INCHES, LEAST_INCHES, MOST_INCHES = 0.22, 6.0, 2.5, 40.0


def draw_means(table: pd.DataFrame, column: str, axis: str, ax: Axes | None) -> Axes:
    """Draw means with their limits: the first factor along the axis, combinations of the others by colour and mark."""
    ax = _axes(ax)
    places = table.index.get_level_values(0)
    first = list(dict.fromkeys(places))
    rest = [":".join(map(str, level[1:])) for level in table.index] if table.index.nlevels > 1 else [""] * len(table)
    groups = list(dict.fromkeys(rest))
    shifts = np.linspace(-SPREAD / 2, SPREAD / 2, len(groups)) if len(groups) > 1 else np.zeros(1)
    for at, (group, shift) in enumerate(zip(groups, shifts, strict=True)):
        some = table[[name == group for name in rest]]
        middle = some[column].to_numpy(float)
        ax.errorbar(
            [first.index(place) + shift for place in some.index.get_level_values(0)],
            middle,
            yerr=[middle - some["lower"], some["upper"] - middle],
            fmt=MARKS[at % len(MARKS)],
            color=COLOURS[at % len(COLOURS)],
            capsize=3,
            label=group,
        )
    ax.set_xticks(range(len(first)), [str(level) for level in first])
    ax.set_xlim(-0.5, len(first) - 0.5)
    ax.set(xlabel=str(table.index.names[0]), ylabel=axis)
    if len(groups) > 1:
        ax.legend(title=":".join(map(str, table.index.names[1:])), frameon=False)
    return ax


def draw_residuals(fitted: FloatArray, standardised: FloatArray, axis: str, ax: Axes | None) -> Axes:
    """Draw standardised residuals against fitted values, with lines at 0 and 2 standard deviations either way."""
    ax = _axes(ax)
    ax.axhline(0, color="0.4", linewidth=1)
    for edge in (-2, 2):
        ax.axhline(edge, color="0.4", linewidth=1, linestyle="--")
    ax.plot(fitted, standardised, "o", color=COLOURS[0], markersize=4, alpha=0.7)
    ax.set(xlabel=f"Fitted {axis}", ylabel="Residual, in standard deviations")
    return ax


def draw_effects(effects: pd.Series, half: pd.Series, axis: str, ax: Axes | None) -> Axes:
    """Draw effects with their limits, the largest on top."""
    order = effects.argsort(kind="stable").to_numpy()
    ax = _axes(ax, len(effects))
    ax.axvline(0, color="0.4", linewidth=1)
    rows = np.arange(len(order))
    ax.errorbar(effects.iloc[order], rows, xerr=half.iloc[order], fmt="o", color=COLOURS[0], markersize=4, capsize=2)
    ax.set_yticks(rows, [str(level) for level in effects.index[order]])
    ax.set_ylim(-0.7, len(order) - 0.3)
    ax.set(xlabel=axis, ylabel=str(effects.index.name))
    return ax


def _axes(ax: Axes | None, rows: int | None = None) -> Axes:
    """Axes as given, or new ones; high enough for so many rows, of which a picture holds some two hundred."""
    if ax is not None:
        return ax
    from matplotlib import pyplot

    height = 4.0 if rows is None else min(max(LEAST_INCHES, 1 + ROW_INCHES * rows), MOST_INCHES)
    return pyplot.subplots(figsize=(WIDTH_INCHES, height), layout="constrained")[1]
