"""Gains of a ledger's trials and how they add up; by class; and the size of the trial that would tell most."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Gain:
    """What a treatment gained over the current practice in one trial, g a planted head."""

    name: str
    season: str
    gain: float
    se: float
    gardens: int
    citation: str = ""


@dataclass(frozen=True)
class Step:
    """An estimate from some of the trials, with its interval; `added` is the trial that came or went."""

    added: str
    season: str
    trials: int
    gain: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Combined:
    """The trials' gains combined by random-effects meta-analysis, g a planted head.

    With fewer than three trials they are averaged, and the interval does not allow for how seasons differ: nobody knows
    yet. `new_lower` and `new_upper` are the prediction interval of one more trial, from three up. `tau_g` is
    the standard deviation of the gain between trials with its limits, `i2` the share of the trials' differences that it
    makes up.
    """

    gain: float
    se: float
    lower: float
    upper: float
    new_lower: float | None
    new_upper: float | None
    tau_g: float
    tau_lower_g: float
    tau_upper_g: float
    i2: float
    q: float
    trials: int


@dataclass(frozen=True)
class Together:
    """Gains of all trials, and how they add up.

    Attributes
    ----------
    gains : tuple of Gain
        In the order of seasons.
    combined : Combined or None
        None with fewer than two trials.
    growing : tuple of Step
        After each trial; of more than `MOST_STEPS`, after that many, spread evenly from the first to the last.
    without : tuple of Step
        Without each trial, from three trials up; of more than `MOST_STEPS`, without those that move the estimate the
        most.
    heterogeneity : str
        How much trials differ, in words.
    """

    gains: tuple[Gain, ...]
    combined: Combined | None
    growing: tuple[Step, ...]
    without: tuple[Step, ...]
    heterogeneity: str


@dataclass(frozen=True)
class ClassGain:
    """What a class is told.

    Attributes
    ----------
    name : str
    units : int
        Trials in which the class could compare the two treatments.
    gardens : int
    own, own_se : float or None
        From its own trials alone; None without any.
    gain, lower, upper : float
        Shrunk to the other classes, with a 95 % interval.
    borrowed : float
        Share of what it is told that the other classes bring, 0 to 1.
    """

    name: str
    units: int
    gardens: int
    own: float | None
    own_se: float | None
    gain: float
    lower: float
    upper: float
    borrowed: float


@dataclass(frozen=True)
class NextSize:
    """Gardens, blocks in each, buckets in all, and the chance of finding a difference of the margin."""

    gardens: int
    blocks: int
    buckets: int
    margin_g: float
    power: float
    reached: bool
