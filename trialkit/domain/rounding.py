"""Values that are equal but for rounding."""

TIE_DECIMALS = 6
"""Rounded to so many, values that only the last figures tell apart are equal: every processor orders them alike."""
ROUNDING = 1e-6
"""Quantities of order one that differ by no more are equal."""
