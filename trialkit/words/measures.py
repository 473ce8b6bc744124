"""Which measures sentences speak in."""

from typing import Literal

Measures = Literal["kitchen", "metric", "both"]
"""Level teaspoons; grams, where their weight is known; or teaspoons with grams beside them."""
