"""What gardens have to do with what a treatment gains."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from trialkit.documents.findings import Covariate, Exploration, Gardens
from trialkit.words.phrases import number, p_value, treatment_words

COVARIATES: Mapping[Covariate, tuple[str, str]] = {
    "sun_hours": ("sun", "for each hour"),
    "alkalinity_mg_l_caco3": ("alkalinity", "for each 100 mg/L"),
}


def covariate_label(covariate: Covariate) -> str:
    """Name something that is known of gardens."""
    return COVARIATES[covariate][0]


def gardens_sentence(gardens: Gardens, unit: str) -> str:
    """Say what holds at every garden, and what on average only."""
    return " ".join(_gardens(gardens, unit))


def _gardens(gardens: Gardens, unit: str) -> Iterator[str]:
    found, name = gardens.differences, treatment_words(gardens.treatment)
    gains = [one.difference for one in found]
    ahead = sum(gain > 0 for gain in gains)
    spread = f"{number(min(gains))} to {number(max(gains))} {unit}"
    if len(found) == 1:
        yield f"Only one garden has both {name} and the current practice."
    elif ahead in (0, len(found)):
        yield (
            f"At every one of {len(found)} gardens {name} was {'ahead of' if ahead else 'behind'} the current practice "
            f"({spread}); single gardens are known poorly."
        )
    else:
        yield (
            f"What holds on average does not hold everywhere: {name} was ahead of the current practice at {ahead} of "
            f"{len(found)} gardens ({spread}). With few buckets a garden, some of that is luck."
        )


def exploration_sentence(line: Exploration, unit: str) -> str:
    """Say what a treatment's gain goes with, and that it is no test."""
    label, step = COVARIATES[line.covariate]
    slope = line.slope
    return (
        f"An exploration: the gain was {number(abs(slope.estimate))} {unit} {'more' if slope.estimate > 0 else 'less'} "
        f"{step} of {label} ({number(slope.lower)} to {number(slope.upper)}; {p_value(line.p)}; {line.gardens} "
        f"gardens). Gardens were not given their {label} at random: this can be an idea for a trial, never a reason."
    )
