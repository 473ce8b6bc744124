"""Order of values that are equal but for rounding."""

TIE_DECIMALS = 6
"""Rounded to so many, values that only the last figures tell apart are equal: every processor orders them alike."""
