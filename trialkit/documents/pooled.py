"""Gains of a ledger's trials and how they add up; by class; and the size of the trial that would tell most."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class TrialGain:
    """What a treatment gained over the current practice in one trial.

    Attributes
    ----------
    name : str
        Identity of the trial, or its citation.
    season : str
        As stated; empty where it is not.
    gain : float
        g a planted head.
    se : float
        Its standard error, g.
    gardens : int
        Behind it.
    citation : str
        Where it stands, of trials of which only means are left; else empty.
    """

    name: str
    season: str
    gain: float
    se: float
    gardens: int
    citation: str = ""


@dataclass(frozen=True)
class PartialGain:
    """The gain combined from some of the trials only.

    Attributes
    ----------
    trial : str
        That came last, or was left out.
    season : str
        Of that trial.
    trials : int
        How many were combined.
    gain : float
        g a planted head.
    lower : float
        Lower limit of its interval, g.
    upper : float
        Upper limit, g.
    """

    trial: str
    season: str
    trials: int
    gain: float
    lower: float
    upper: float


@dataclass(frozen=True)
class CombinedGain:
    """The trials' gains combined by random-effects meta-analysis, g a planted head.

    With fewer than three trials they are averaged, and the interval does not allow for how seasons differ: nobody knows
    yet.

    Attributes
    ----------
    gain : float
        g a planted head.
    se : float
        Its standard error, g.
    lower : float
        Lower limit of its interval, g.
    upper : float
        Upper limit, g.
    new_lower : float or None
        Lower limit of the prediction interval of one more trial, g; None with fewer than three.
    new_upper : float or None
        Upper limit, g.
    tau_g : float
        Standard deviation of the gain between trials, g.
    tau_lower_g : float
        Its lower limit, g.
    tau_upper_g : float
        Its upper limit, g.
    i2 : float
        Share of the trials' differences that `tau_g` makes up, 0 to 1.
    q : float
        Cochran's Q.
    trials : int
        How many were combined.
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
class TrialGains:
    """Gains of all trials, and how they add up.

    Attributes
    ----------
    gains : tuple of TrialGain
        In the order of seasons.
    combined : CombinedGain or None
        None with fewer than two trials.
    cumulative : tuple of PartialGain
        After each trial; of more than `MOST_STEPS`, after that many, spread evenly from the first to the last.
    leave_one_out : tuple of PartialGain
        Without each trial, from three trials up; of more than `MOST_STEPS`, without those that move the estimate the
        most.
    """

    gains: tuple[TrialGain, ...]
    combined: CombinedGain | None
    cumulative: tuple[PartialGain, ...]
    leave_one_out: tuple[PartialGain, ...]


@dataclass(frozen=True)
class ClassGain:
    """What a class is told.

    Attributes
    ----------
    name : str
        Of the class.
    units : int
        Trials in which the class could compare the two treatments.
    gardens : int
        Of the class, in these trials.
    own : float or None
        Gain from its own trials alone, g a planted head; None without any.
    own_se : float or None
        Its standard error, g.
    gain : float
        Shrunk to the other classes, g a planted head.
    lower : float
        Lower limit of its interval, g.
    upper : float
        Upper limit, g.
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
    """How large a trial of two treatments must be.

    Attributes
    ----------
    gardens : int
        In all.
    blocks : int
        In each garden.
    buckets : int
        In all.
    margin_g : float
        Difference that it is to find, g a planted head.
    power : float
        Chance of finding that, 0 to 1.
    reached : bool
        Whether the chance is as great as was asked for; if not, this is the largest trial that was looked at.
    """

    gardens: int
    blocks: int
    buckets: int
    margin_g: float
    power: float
    reached: bool
