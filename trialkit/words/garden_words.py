"""What gardens have to do with what a treatment gains."""

from __future__ import annotations

from collections.abc import Mapping

from trialkit.documents.findings import Covariate, Exploration
from trialkit.words.phrases import number, p_value

COVARIATES: Mapping[Covariate, tuple[str, str]] = {
    "sun_hours": ("sun", "for each hour"),
    "alkalinity_mg_l_caco3": ("alkalinity", "for each 100 mg/L"),
}


def covariate_label(covariate: Covariate) -> str:
    """Name something that is known of gardens."""
    return COVARIATES[covariate][0]


def exploration_sentence(line: Exploration, unit: str) -> str:
    """Say what a treatment's gain goes with, and that it is no test."""
    label, step = COVARIATES[line.covariate]
    slope = line.slope
    return (
        f"An exploration: the gain was {number(abs(slope.estimate))} {unit} {'more' if slope.estimate > 0 else 'less'} "
        f"{step} of {label} ({number(slope.lower)} to {number(slope.upper)}; {p_value(line.p)}; {line.gardens} "
        f"gardens). Gardens were not given their {label} at random: this can be an idea for a trial, never a reason."
    )
