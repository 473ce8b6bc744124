"""Gains of a ledger's trials and how they add up; by class; and the size of the trial that would tell most."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated


@dataclass(frozen=True)
class TrialGain:
    """What a treatment gained over the current practice in one trial."""

    name: Annotated[str, "Identity of the trial, or its citation."]
    season: Annotated[str, "As stated; empty where it is not."]
    gain: Annotated[float, "g per transplanted head."]
    se: Annotated[float, "Its standard error, g."]
    gardens: Annotated[int, "Behind it."]
    citation: Annotated[str, "Where it stands, of trials of which only means are left; else empty."] = ""


@dataclass(frozen=True)
class PartialGain:
    """The gain combined from some of the trials only."""

    trial: Annotated[str, "That came last, or was left out."]
    season: Annotated[str, "Of that trial."]
    trials: Annotated[int, "How many were combined."]
    gain: Annotated[float, "g per transplanted head."]
    lower: Annotated[float, "Lower limit of its interval, g."]
    upper: Annotated[float, "Upper limit, g."]


@dataclass(frozen=True)
class CombinedGain:
    """The trials' gains combined by random-effects meta-analysis, g per transplanted head.

    With fewer than three trials they are averaged, and the interval does not allow for how seasons differ: nobody knows
    yet.
    """

    gain: Annotated[float, "g per transplanted head."]
    se: Annotated[float, "Its standard error, g."]
    lower: Annotated[float, "Lower limit of its interval, g."]
    upper: Annotated[float, "Upper limit, g."]
    new_lower: Annotated[
        float | None, "Lower limit of the prediction interval of one more trial, g; None with fewer than three."
    ]
    new_upper: Annotated[float | None, "Upper limit, g."]
    tau_g: Annotated[float, "Standard deviation of the gain between trials, g."]
    tau_lower_g: Annotated[float, "Its lower limit, g."]
    tau_upper_g: Annotated[float, "Its upper limit, g."]
    i2: Annotated[float, "Share of the trials' differences that `tau_g` makes up, 0 to 1."]
    q: Annotated[float, "Cochran's Q."]
    trials: Annotated[int, "How many were combined."]


@dataclass(frozen=True)
class TrialGains:
    """Gains of all trials, and how they add up."""

    gains: Annotated[tuple[TrialGain, ...], "In the order of seasons."]
    combined: Annotated[CombinedGain | None, "None with fewer than two trials."]
    cumulative: Annotated[
        tuple[PartialGain, ...],
        "After each trial; of more than `MOST_STEPS`, after that many, spread evenly from the first to the last.",
    ]
    leave_one_out: Annotated[
        tuple[PartialGain, ...],
        "Without each trial, from three trials up; of more than `MOST_STEPS`, without those that move the estimate "
        "the most.",
    ]


@dataclass(frozen=True)
class ClassGain:
    """What a class is told."""

    name: Annotated[str, "Of the class."]
    units: Annotated[int, "Trials in which the class could compare the two treatments."]
    gardens: Annotated[int, "Of the class, in these trials."]
    own: Annotated[float | None, "Gain from its own trials alone, g per transplanted head; None without any."]
    own_se: Annotated[float | None, "Its standard error, g."]
    gain: Annotated[float, "Shrunk to the other classes, g per transplanted head."]
    lower: Annotated[float, "Lower limit of its interval, g."]
    upper: Annotated[float, "Upper limit, g."]
    borrowed: Annotated[float, "Share of what it is told that the other classes bring, 0 to 1."]


@dataclass(frozen=True)
class NextSize:
    """How large a trial of two treatments must be."""

    gardens: Annotated[int, "In all."]
    blocks: Annotated[int, "In each garden."]
    buckets: Annotated[int, "In all."]
    margin_g: Annotated[float, "Difference that it is to find, g per transplanted head."]
    power: Annotated[float, "Chance of finding that, 0 to 1."]
    reached: Annotated[
        bool, "Whether the chance is as great as was asked for; if not, this is the largest trial that was looked at."
    ]
