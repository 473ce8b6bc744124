"""Bounds that more than one part of the work goes by."""

FEWEST_RANDOM_LEVELS = 3
"""A grouping with fewer levels is fixed: two say next to nothing of how levels vary (common practice, no source)."""
FEWEST_ERROR_DF = 12
"""Degrees of freedom for error that are usual: EPPO PP 1/152(4), 2012."""
FEWEST_CURVE_DOSES = 4
"""With three, a plateau cannot be told from a curve: every curve with a shape goes through all three means."""
SUSPICIOUS_P = 0.01
"""A check with a smaller p is in doubt (common practice, no source)."""
UNEVEN_RATIO = 3.0
"""Spreads of buckets further apart than this are not taken as one (`trialkit.analysis.checks.is_uneven`)."""
DEGREE_DAY_BASE_C = 4.0
"""Below this lettuce hardly grows: base temperature of 3 to 5 degrees Celsius in the literature (from memory)."""
FEWEST_DF = 2.0
"""Three gardens and two treatments have two; averages over draws of a t with fewer do not settle."""
