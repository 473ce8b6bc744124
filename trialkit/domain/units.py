"""US customary measures in metric ones, exactly: NIST Handbook 44, Appendix C; which of the two is told."""

from typing import Literal

Measures = Literal["kitchen", "metric", "both"]
"""US customary measures as a kitchen has them, with pounds, inches and degrees Fahrenheit; metric ones; or both."""

GALLON_L = 3.785411784
"""US gallon: 231 cubic inches."""
TEASPOON_ML = GALLON_L * 1000 / 768
TABLESPOON_ML = 3 * TEASPOON_ML
CUP_ML = 48 * TEASPOON_ML
FLUID_OUNCE_ML = 6 * TEASPOON_ML
OUNCE_G = 28.349523125
"""Avoirdupois ounce."""
POUND_KG = 16 * OUNCE_G / 1000
INCH_CM = 2.54

LITRES: dict[str, float] = {
    "tsp": TEASPOON_ML / 1000,
    "tbsp": TABLESPOON_ML / 1000,
    "fl oz": FLUID_OUNCE_ML / 1000,
    "cup": CUP_ML / 1000,
    "gal": GALLON_L,
    "mL": 0.001,
    "L": 1.0,
}
"""Litres in each measure. Spoons are level."""


def litres(amount: float, unit: str) -> float:
    """Turn a volume in one of `LITRES` into litres.

    Examples
    --------
    >>> litres(5, "gal")
    18.92705892
    """
    return amount * LITRES[unit]


def quarter_spoons(teaspoons: float) -> float:
    """Round to the quarter teaspoons that a set of spoons can measure, half up.

    Examples
    --------
    >>> quarter_spoons(4.9), quarter_spoons(0.13)
    (5.0, 0.25)
    """
    return int(4 * teaspoons + 0.5) / 4


def fahrenheit(celsius: float) -> float:
    """Turn degrees Celsius into degrees Fahrenheit.

    Examples
    --------
    >>> fahrenheit(25.0)
    77.0
    """
    return celsius * 9 / 5 + 32
