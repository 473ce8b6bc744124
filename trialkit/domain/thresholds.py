"""Bounds that more than one part of the work goes by."""

FEWEST_RANDOM_LEVELS = 3
"""A grouping with fewer levels is fixed: two say next to nothing of how levels vary (common practice, no source)."""
FEWEST_DF = 2.0
"""Three gardens and two treatments have two; averages over draws of a t with fewer do not settle."""
