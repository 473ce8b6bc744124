"""Level teaspoons drawn as they are: whole ones filled, of the last as much as goes in."""

from __future__ import annotations

import math
from collections.abc import Mapping
from html import escape

MOST_SPOONS_DRAWN = 12
"""More are not counted at a glance (common practice, no source)."""
WIDTH, HEIGHT, APART = 18, 52, 26
MIDDLE, ACROSS, DOWN = (9, 11), 8, 10.5
"""Of the bowl: its middle, and half its width and height."""


def spoons_drawing(dose_tsp: float, alternative: str, colours: Mapping[str, str]) -> str:
    """Draw level teaspoons as an ``svg`` element; empty where there are none, or too many to be counted at a glance.

    Parameters
    ----------
    dose_tsp : float
    alternative : str
        What is drawn, for who does not see it.
    colours : mapping
        By their roles.
    """
    if not 0 < dose_tsp <= MOST_SPOONS_DRAWN:
        return ""
    whole, rest = int(dose_tsp), dose_tsp % 1
    shares = [1.0] * whole + [rest] * (rest > 0)
    drawn = "".join(
        f'<g transform="translate({APART * place} 0)">{_spoon(share, colours)}</g>'
        for place, share in enumerate(shares)
    )
    width = APART * (len(shares) - 1) + WIDTH
    return (
        f'<svg class="spoons" viewBox="0 0 {width} {HEIGHT}" role="img"><title>{escape(alternative)}</title>{drawn}'
        "</svg>"
    )


def _spoon(share: float, colours: Mapping[str, str]) -> str:
    """Draw one spoon, its bowl full from the left up to a share of its width."""
    (across, down), leaf = MIDDLE, colours["leaf"]
    x = round(2 * ACROSS * share - ACROSS, 2)
    y = round(DOWN * math.sqrt(1 - (x / ACROSS) ** 2), 2)
    level = (
        f'<ellipse fill="{leaf}" cx="{across}" cy="{down}" rx="{ACROSS}" ry="{DOWN}"/>'
        if share == 1
        else f'<path fill="{leaf}" d="M{across + x} {down - y}A{ACROSS} {DOWN} 0 {int(share > 0.5)} 0 {across + x} '
        f'{down + y}z"/>'
    )
    return (
        f'{level}<ellipse fill="none" stroke="{leaf}" stroke-width="1.4" cx="{across}" cy="{down}" rx="{ACROSS - 0.7}" '
        f'ry="{DOWN - 0.7}"/><rect fill="{leaf}" x="7.2" y="20" width="3.6" height="31" rx="1.8"/>'
    )
