"""The pH that lettuce is grown at, and where a strip says so: every pH that is aimed at anywhere comes from here."""

import math

STRIP_STEP = 0.5
"""Steps of a pH strip."""


def strip_reading(ph: float) -> float:
    """Round a pH to the steps of a strip.

    Examples
    --------
    >>> strip_reading(5.8), strip_reading(5.7)
    (6.0, 5.5)
    """
    return math.floor(ph / STRIP_STEP + 0.5) * STRIP_STEP


SET_POINTS_PH = (5.6, 6.0)
"""Published for floating lettuce: 5.8 +/- 0.2 (Both et al., horticultural engineering, Rutgers); 5.6 to 6.0 (Brechner &
Both, Hydroponic Lettuce Handbook, Cornell, figures from memory). Singh & Dunn, Oklahoma State Extension, HLA-6722, have
6.0 to 7.0 (from memory): the two share 6."""
TARGET_PH = sum(SET_POINTS_PH) / 2
WINDOW_PH = (strip_reading(SET_POINTS_PH[0]), strip_reading(SET_POINTS_PH[1]))
"""What a strip shows at the set points: there it says to stop."""
