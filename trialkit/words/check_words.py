"""Checks: what was looked at, what was found, what follows, and the figures behind it."""

from __future__ import annotations

from typing import NamedTuple

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
from trialkit.words.factor_words import effect_words
from trialkit.words.measures import BOTH, MeasureSystem
from trialkit.words.phrases import number, p_value
from trialkit.words.treatment_names import level_words, treatment_words

SCALES = {0.0: "logarithm", 0.5: "square root", 2.0: "square"}
APPROXIMATE = "Take every interval as rough."
WHOLE_FROM = 100.0
"""Residuals from here up are told without decimals."""


class CheckWords(NamedTuple):
    """A check in plain words; nothing follows where it is in order."""

    title: str
    finding: str
    consequence: str
    figures: str
    """What a statistician wants beside it; empty where there is nothing."""


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
        return CheckWords(title, f"All {check.buckets} buckets have a record.", "", "")
    finding = f"{check.missing} of {check.buckets} buckets have no record."
    figures = f"There is {_evidence(check.p)} that this goes with the treatment."
    if check.ok or check.column is None:
        return CheckWords(title, finding, "", figures)
    return CheckWords(
        title,
        finding,
        f"They are missing most often with {level_words(check.column, check.level, system)}. If they were given up "
        "because they did badly, that treatment looks better than it is. Ask what became of them.",
        figures,
    )


def _replication(check: ReplicationCheck, system: MeasureSystem) -> CheckWords:
    least = effect_words(check.term or "")
    if check.treatment is not None:
        least = treatment_words(check.treatment, system)
    return CheckWords(
        "Enough buckets to compare",
        f"Least is known of {least}.",
        ""
        if check.ok
        else "Intervals are wide because there are few buckets or gardens. Another season would help most.",
        f"It has {check.df:.1f} degrees of freedom for error, where {FEWEST_ERROR_DF} or more are usual.",
    )


def _residuals(check: ResidualsCheck) -> CheckWords:
    if not check.vary:
        return CheckWords(
            "Differences between like buckets",
            "Buckets treated alike in a block do not differ at all.",
            "Living things differ. Was each bucket weighed, or were all written down from one figure?",
            "",
        )
    return CheckWords(
        "Enough buckets to check the model",
        "There are too few buckets to see how like buckets differ.",
        "The intervals assume that they differ by luck alone, which could not be checked.",
        f"Only {check.df} degrees of freedom are left among the bucket means.",
    )


def _shape(check: ShapeCheck) -> CheckWords:
    return CheckWords(
        "How like buckets differ",
        "Like buckets differ as luck makes them differ."
        if check.ok
        else "A few buckets are far from the rest, or most lie to one side.",
        "" if check.ok else APPROXIMATE,
        f"Over {check.buckets} buckets, there is {_evidence(check.p)} against a bell shape (Shapiro-Wilk).",
    )


def _spread(check: SpreadCheck) -> CheckWords:
    low, high = check.lowest, check.highest
    consequence = ""
    if check.uneven:
        more = f"{UNEVEN_RATIO:g} times as much as at {low.site}"
        consequence = f"At {high.site} they differ more than {more}, so its buckets count for less."
    elif not check.ok:
        consequence = f"The results of {high.site} count for more than they should."
    return CheckWords(
        "Spread within each garden",
        f"Like buckets differ least at {low.site} and most at {high.site}.",
        consequence,
        f"Standard deviations run from {number(low.sd)} to {number(high.sd)}. Levene's test has {_evidence(check.p)} "
        "that they differ.",
    )


def _outlier(check: OutlierCheck, unit: str) -> CheckWords:
    far = f"{abs(check.residual):.{0 if abs(check.residual) >= WHOLE_FROM else 1}f} {unit}"
    return CheckWords(
        "Single buckets that stand out",
        f"Bucket {check.bucket} at {check.site} lies {far} {'above' if check.residual > 0 else 'below'} what its "
        f"treatment and block lead one to expect.",
        ""
        if check.ok
        else "Look at this bucket's record before you rely on the answer, since a slip of the pen is likely.",
        f"That {'may well' if check.ok else 'can hardly'} be luck ({p_value(check.p)}, allowing for all buckets).",
    )


def _scale(check: ScaleCheck) -> CheckWords:
    title, power = "How the records are compared", check.power
    figures = (
        f"Best power {number(power.estimate, 2)} (95 % interval {number(power.lower, 2)} to {number(power.upper, 2)}), "
        "where 1 is the scale as it is."
    )
    if check.ok:
        return CheckWords(title, "They can be compared as they are.", "", figures)
    better, scale = "no usual scale fits them well", ""
    if check.chosen != 1:
        better, scale = "another scale would fit them better", f" Their {SCALES[check.chosen]} would fit better."
    return CheckWords(title, f"They are compared as they are, but {better}.", APPROXIMATE, f"{figures}{scale}")


def _evidence(p: float) -> str:
    """Say how much a test's p value speaks for its alternative."""
    strength = "strong" if p < SUSPICIOUS_P else "weak" if p < 0.1 else "no"
    return f"{strength} evidence ({p_value(p)})"
