"""What is thought of standard deviations before any record: half-normal distributions, their scales in one table.

Scales are those of lettuce heads of some 100 to 250 g (common practice, no source, unless it is named); the half-normal
for standard deviations in small numbers of groups is Gelman's advice (2006, Bayesian Analysis 1, 515-534, who takes the
half-t; the normal's lighter tail keeps what three gardens say within reason).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

WEIGHT_G: Mapping[str, float] = MappingProxyType(
    {
        "bucket": 40.0,
        "block": 15.0,
        "whole_plot": 15.0,
        "garden": 30.0,
        "season_level": 25.0,
        "garden_cultivar": 10.0,
        "garden_dose": 4.0,
        "garden_acidifier": 7.0,
        "season": 7.0,
        "cultivar": 20.0,
        "acidifier": 20.0,
        "curve": 15.0,
        "interaction": 5.0,
        "surroundings": 6.0,
    }
)
"""Scale of the half-normal prior of each standard deviation, g of the weight of a usable head."""
FACTOR_SHARE: Mapping[str, float] = MappingProxyType({"cultivar": 1.0, "dose": 0.45, "acidifier": 0.8})
"""What seasons do to each factor, in units of their one standard deviation, and what gardens do to shares. The ends of
the doses lie 3.5 standard deviations of the range apart, two cultivars 1.4: so both vary alike, end to end."""
SLOPE_G = 40.0
"""Standard deviation of the straight part of the dose curve over the range tried, g."""

DAYS: Mapping[str, float] = MappingProxyType(
    {
        "bucket": 3.0,
        "block": 1.5,
        "whole_plot": 1.5,
        "garden": 5.0,
        "season_level": 5.0,
        "garden_cultivar": 1.0,
        "garden_dose": 0.4,
        "garden_acidifier": 0.7,
        "season": 0.5,
        "cultivar": 4.0,
        "acidifier": 2.0,
        "curve": 1.5,
        "interaction": 1.0,
        "surroundings": 1.0,
    }
)
"""Scale of the half-normal prior of each standard deviation, days from transplanting to ready, of some 35 to 60."""
SLOPE_DAYS = 3.0
"""Standard deviation of the straight part of the dose curve over the range tried, days."""

SHARE_LOGIT: Mapping[str, float] = MappingProxyType({"garden": 1.0, "treatment": 0.7, "practice": 0.4})
"""Scale of the half-normal prior of each standard deviation of usable shares, logits: between gardens, of what is
tried, and of that between gardens and seasons."""
SHARE_MEAN, SHARE_SD = 2.0, 2.5
"""Of the logit of a share before any record: some 88 in 100, and anything from 5 to 99.9."""

PLANNED_G: Mapping[str, float] = MappingProxyType(
    {"cultivar": 12.0, "acidifier": 6.0, "slope": 10.0, "curve": 5.0, "interaction": 4.0, "surroundings": 4.0}
)
"""What a plan takes treatments to differ by where no trial has told, standard deviations, g of the weight of a usable
head (common practice, no source): two cultivars by some 17 g, the ends of a range of doses by 35 g. The analysis's own
priors are much wider, so that its records speak; a trial is not worth what they would allow. Such a design prior beside
the analysis's: O'Hagan & Stevens 2001, Medical Decision Making 21, 219-230."""
PLANNED_LOGIT = 0.35
"""And the logits of usable shares."""
