"""Numbers on the command line."""

from __future__ import annotations

import math
from typing import Any

import click


class NumberRange(click.FloatRange):
    """A finite number between bounds: any comparison with NaN is false, so that no bound stops it."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it, or say what is expected."""
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value} is not a finite number.", param, ctx)
        return number
