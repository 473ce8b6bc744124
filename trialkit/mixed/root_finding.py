"""Where a function passes zero."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np


def crossing(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a function that rises passes zero, by false position (Illinois: Dowell & Jarratt 1971, BIT 11, 168-174).

    Loading scipy.optimize for this takes a tenth of a second. Where one of the ends is the answer, numerical error may
    hide the change of sign: it is that end then.
    """
    below, above = rising(low), rising(high)
    if below >= 0 or above <= 0:
        return low if below >= 0 else high
    last, at, side = np.inf, low, 0
    while abs(at - last) > 1e-12 + 1e-14 * abs(at):
        last, at = at, high - above * (high - low) / (above - below)
        value = rising(at)
        # An end that stays twice counts half, so that it comes over as well.
        if value > 0:
            below /= 1 + (side > 0)
            high, above, side = at, value, 1
        else:
            above /= 1 + (side < 0)
            low, below, side = at, value, -1
    return at
