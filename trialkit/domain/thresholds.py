"""Bounds that more than one part of the work goes by."""

FEWEST_RANDOM_LEVELS = 3
"""A grouping with fewer levels is fixed: two say next to nothing of how levels vary (common practice, no source)."""
FEWEST_ERROR_DF = 12
"""Degrees of freedom for error that are usual: EPPO PP 1/152(4), 2012."""
SUSPICIOUS_P = 0.01
"""A check with a smaller p is in doubt (common practice, no source)."""
UNEVEN_RATIO = 3.0
"""Spreads of buckets further apart than this are not taken as one (`trialkit.analysis.checks.is_uneven`)."""
DEGREE_DAY_BASE_C = 4.0
"""Below this lettuce hardly grows: base temperature of 3 to 5 degrees Celsius in the literature (from memory)."""
SAME_VALUE_G = 1.0
"""Doses whose expected values differ by less, g per transplanted head or its price, are alike, and the smallest is
taken (common practice, no source)."""
MOST_BLOCKS = 50
"""In a garden; more are a slip (common practice, no source)."""
