"""Checks: what was looked at, what was found, and what follows."""

from __future__ import annotations

from trialkit.documents.findings import (
    Check,
    MissingCheck,
    OutlierCheck,
    ReplicationCheck,
    ResidualsCheck,
    ScaleCheck,
    ShapeCheck,
    SpreadCheck,
)
from trialkit.domain.thresholds import FEWEST_ERROR_DF, SUSPICIOUS_P, UNEVEN_RATIO
from trialkit.words.factor_words import effect_label
from trialkit.words.measures import BOTH, MeasureSystem
from trialkit.words.phrases import number, p_value
from trialkit.words.treatment_names import level_words, treatment_words

NOTHING_TO_DO = "Nothing to do."
SCALES = {0.0: "the logarithm", 0.5: "the square root", 2.0: "the square"}


CheckWords = tuple[str, str, str]
"""What was looked at, what was found, and what follows."""


def check_words(check: Check, unit: str, system: MeasureSystem = BOTH) -> CheckWords:
    """Say what a check of a response in some unit looked at, what was found, and what follows."""
    match check:
        case MissingCheck():
            return _missing(check, system)
        case ReplicationCheck():
            return _replication(check, system)
        case ResidualsCheck():
            return _residuals(check)
        case ShapeCheck():
            return _shape(check)
        case SpreadCheck():
            return _spread(check)
        case OutlierCheck():
            return _outlier(check, unit)
        case ScaleCheck():
            return _scale(check)


def _missing(check: MissingCheck, system: MeasureSystem) -> CheckWords:
    title = "Buckets without a record"
    if not check.missing:
        return (title, f"All {check.buckets} buckets have a record.", NOTHING_TO_DO)
    finding = (
        f"{check.missing} of {check.buckets} buckets have no record; {_evidence(check.p)} that this goes with the "
        "treatment."
    )
    if check.ok or check.column is None:
        return (title, finding, NOTHING_TO_DO)
    return (
        title,
        finding,
        f"They are missing most often under {level_words(check.column, check.level, system)}: if they were given up "
        "because they did badly, that treatment looks better than it is. Ask what became of them.",
    )


def _replication(check: ReplicationCheck, system: MeasureSystem) -> CheckWords:
    least = effect_label(check.term or "")
    if check.treatment is not None:
        least = f"{treatment_words(check.treatment, system)} against the current practice"
    return (
        "Replication",
        f"Least is known of {least}: {check.df:.1f} degrees of freedom for error; {FEWEST_ERROR_DF} or more are usual.",
        NOTHING_TO_DO
        if check.ok
        else "Intervals are wide because there are few buckets or gardens; another season would help most.",
    )


def _residuals(check: ResidualsCheck) -> CheckWords:
    if not check.vary:
        return (
            "Variation between like buckets",
            "Buckets treated alike in a block do not differ at all.",
            "Records of living things vary: were these weighed, or written down from one figure?",
        )
    return (
        "Buckets enough to check the model",
        f"Only {check.df} degrees of freedom are left among the bucket means.",
        "The intervals rest on the assumption that buckets vary alike and symmetrically; it could not be checked.",
    )


def _shape(check: ShapeCheck) -> CheckWords:
    return (
        "Shape of the variation between buckets",
        f"Over {check.buckets} buckets, {_evidence(check.p)} against a bell shape (Shapiro-Wilk).",
        NOTHING_TO_DO
        if check.ok
        else "A few buckets are far from the rest or the spread is lopsided: read the intervals as approximate.",
    )


def _spread(check: SpreadCheck) -> CheckWords:
    low, high = check.lowest, check.highest
    consequence = NOTHING_TO_DO
    if check.uneven:
        consequence = (
            f"That is more than {UNEVEN_RATIO:g} times as much, so each garden was given a variance of its own, and "
            f"{high.site} counts for less."
        )
    elif not check.ok:
        consequence = f"Buckets at {high.site} vary most: its results count for more than they should."
    return (
        "Spread within each garden",
        f"Standard deviations between like buckets run from {number(low.sd)} at {low.site} to {number(high.sd)} at "
        f"{high.site} (Levene: {_evidence(check.p)} that they differ).",
        consequence,
    )


def _outlier(check: OutlierCheck, unit: str) -> CheckWords:
    return (
        "Single buckets that stand out",
        f"Bucket {check.bucket} at {check.site} lies {abs(check.residual):.3g} {unit} "
        f"{'above' if check.residual > 0 else 'below'} what its treatment and block lead one to expect "
        f"({'may well be chance' if check.ok else 'hardly chance'}: {p_value(check.p)}, allowing for all buckets).",
        NOTHING_TO_DO
        if check.ok
        else "Look at this bucket's record before relying on the answer: a slip of the pen is likely.",
    )


def _scale(check: ScaleCheck) -> CheckWords:
    title, power = "Scale of the response", check.power
    found = (
        f"Best power {number(power.estimate, 2)} (95 % interval {number(power.lower, 2)} to {number(power.upper, 2)})"
    )
    if check.ok:
        return (title, f"{found}: 1, the scale as it is, fits.", NOTHING_TO_DO)
    if check.chosen == 1:
        return (
            title,
            f"{found}: neither the scale as it is nor one with a name.",
            "Read the intervals as approximate.",
        )
    return (
        title,
        f"{found}: {SCALES[check.chosen]} would fit better.",
        "Means and intervals are on the scale as it is: read the intervals as approximate.",
    )


def _evidence(p: float) -> str:
    """Say how much a test's p value speaks for its alternative."""
    strength = "strong" if p < SUSPICIOUS_P else "weak" if p < 0.1 else "no"
    return f"{strength} evidence ({p_value(p)})"
