"""What gardens have to do with what a treatment gains."""

from __future__ import annotations

from collections.abc import Mapping

from trialkit.documents.findings import Covariate, Exploration
from trialkit.words.phrases import p_value

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
        f"The gain was {_more(slope.estimate, unit)} {step} of {label} ({_more(slope.lower, unit)} to "
        f"{_more(slope.upper, unit)}, {p_value(line.p)}, {line.gardens} gardens). No lot decided which garden has how "
        f"much {label}, so this is an idea for a trial and proves nothing."
    )


def _more(difference: float, unit: str) -> str:
    return f"{abs(difference):.1f} {unit} {'more' if difference > 0 else 'less'}"
