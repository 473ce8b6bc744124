"""What a trial is expected to bring, before it is run: the value of sample information, and what it will leave open.

Given the standard deviations, beliefs about treatments are Gaussian before the trial and after it, and the covariance
after it does not depend on what will be recorded. So what will be expected after it is Gaussian too, about what is
expected now, with the difference of the two covariances (Raiffa & Schlaifer 1961, Applied Statistical Decision Theory,
ch. 5; for correlated beliefs Frazier, Powell & Dayanik 2009, INFORMS J. Computing 21, 599-613). The value of the trial
is what the best choice after it is expected to give beyond the best choice now; it is averaged over the standard
deviations as they are known now.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property

import numpy as np
from scipy.special import ndtri

from trialkit.advice.choice import Value, grow_now
from trialkit.advice.elimination import Floors, Told, information
from trialkit.advice.gathering import Gathered
from trialkit.advice.priors import WEIGHT_G
from trialkit.advice.terms import Points
from trialkit.advice.usable_shares import Shares
from trialkit.advice.weights import WeightModel
from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.mixed.lattice import lattice_points

DRAWS, ORDER_SEED, TOLD_APART = 4032, 7, 1e-9
"""Of what will be expected after a trial, over all points of the standard deviations, in mirrored pairs."""
OUTCOMES = 256
"""Of these, how many are looked into for what will then be left open, and draws of that."""


@dataclass(frozen=True)
class PartBefore:
    """Effects of one part of the model, weights or the logits of usable shares, before a trial.

    Attributes
    ----------
    mean : ndarray, shape (m, p)
        At equally likely standard deviations.
    thought, analysed : ndarray, shape (m, p, p)
        Precision as it is thought to be, and as the analysis of the trial will begin with it: the analysis may know
        less of what is planned.
    """

    mean: FloatArray
    thought: FloatArray
    analysed: FloatArray


@dataclass(frozen=True)
class Beliefs:
    """What is thought of treatments before a trial.

    Attributes
    ----------
    base : Gathered
        Records so far, and every treatment and garden that a planned trial may have, without any record.
    sd : mapping of str to ndarray, shape (m,)
        Equally likely values of every standard deviation of weights, g.
    weights, logits : PartBefore
    shares : Shares
        Usable shares so far, at as many standard deviations.
    asked : Points
        What could be recommended.
    practice : int
        Place of what is said now.
    value : Value
    """

    base: Gathered
    sd: Mapping[str, FloatArray]
    weights: PartBefore
    logits: PartBefore
    shares: Shares
    asked: Points
    practice: int
    value: Value

    @cached_property
    def columns(self) -> FloatArray:
        """Of what could be recommended, shape (n, p)."""
        return self.base.asked(self.asked)[0]

    @cached_property
    def share(self) -> FloatArray:
        """Usable shares that are expected, shape (n,).

        Before any record none fares better than another: a mean over gardens lies nearer a half where more is open, at
        the ends of the doses, and that is no reason to expect less of these.
        """
        found = self.shares.at(self.asked)[0]
        return found if self.base.recorded.any() else np.full(len(found), found.mean())

    @cached_property
    def weight_g(self) -> FloatArray:
        """Weights of a usable head that are expected, shape (n,)."""
        return np.asarray((self.weights.mean @ self.columns.T).mean(0))

    @cached_property
    def expected(self) -> FloatArray:
        """Values that are expected now, shape (n,)."""
        return self.weight_g * self.share * self.value.per_gram - self.value.cost

    def choice(self, expected: FloatArray, costs: DecisionCosts) -> IntArray:
        """Place of what is recommended where so much is expected of each candidate, shape (..., n) to (...)."""
        asked = self.asked
        return grow_now(expected, self.practice, asked.but_for_dose, asked.dose, costs.change, costs.same)

    @cached_property
    def by_weights(self) -> FloatArray:
        """Value by the effects of weights, shape (n, p)."""
        return self.columns * self.share[:, None] * self.value.per_gram

    @cached_property
    def by_logits(self) -> FloatArray:
        """Value by the effects of the logits of shares, shape (n, p)."""
        slope = self.shares.slope(self.asked)
        return self.columns * (slope * self.weight_g)[:, None] * self.value.per_gram


@dataclass(frozen=True)
class Foreseen:
    """What a trial is expected to bring, in the unit of the value.

    Attributes
    ----------
    value : float
        Of the choice after it beyond the choice now, what a change costs taken off both.
    gain : float
        Of that choice over what is said now, before that cost.
    change : float
        Chance that another treatment will be recommended than would be without the trial.
    """

    value: float
    gain: float
    change: float


@dataclass(frozen=True)
class LeftOpen:
    """What a trial is expected to leave open.

    Attributes
    ----------
    settled : float
        Chance that the choice will be near enough the best to be called settled.
    half_width : float
        Of the interval of the gain of what will be recommended (of the best other treatment, where nothing changes), in
        the unit of the value.
    dose_half_width : float
        Of the interval of the best dose at its cultivar and acid, in the unit of the strengths; 0 without doses.
    """

    settled: float
    half_width: float
    dose_half_width: float


@dataclass(frozen=True)
class DecisionCosts:
    """By what a choice is made and called settled.

    Attributes
    ----------
    change, same, margin : float
        What a change costs, which doses are alike, and how near the best is near enough, in the unit of the value.
    sure, confidence : float
        Chance from which a choice is settled; of intervals.
    """

    change: float
    same: float
    margin: float
    sure: float
    confidence: float


def told_by(beliefs: Beliefs, planned: Gathered, design_effect: float) -> tuple[FloatArray, FloatArray]:
    """What a trial tells of the effects of weights, and of the logits of usable shares, shape (m, p, p).

    Parameters
    ----------
    beliefs : Beliefs
    planned : Gathered
        Buckets of the trial, gathered like ``beliefs.base``, with the heads that are expected to be recorded and to be
        usable; weights are not looked at.
    design_effect : float
        By how much heads count for less than independent ones.
    """
    sd = beliefs.sd
    told = planned.told(sd["bucket"], [sd[name] for name in planned.local])
    of_weights = information(told, WeightModel(planned, WEIGHT_G).floors(sd))
    of_logits = information(_told_of_heads(beliefs, planned, design_effect), _share_floors(beliefs, planned))
    return of_weights, of_logits


def _share_floors(beliefs: Beliefs, planned: Gathered) -> Floors:
    model = beliefs.shares.model
    return replace(model, gathered=planned).floors(beliefs.shares.sd)


def _told_of_heads(beliefs: Beliefs, planned: Gathered, design_effect: float) -> Told:
    """What counts of heads will tell of logits: a head tells p (1 - p), which is by how much the mean share rises."""
    each = beliefs.shares.slope(beliefs.asked).mean()
    weight = planned.recorded * each / design_effect
    one, m = weight[..., None] * np.eye(weight.shape[-1]), len(beliefs.shares.sd)
    return Told(np.broadcast_to(one, (m, *one.shape)), np.zeros((m, *weight.shape)), np.zeros(m), np.zeros(m))


@dataclass(frozen=True)
class _After:
    """One part of the model after a trial: its value by candidates, shape (n, p), what is told, and scores drawn."""

    part: PartBefore
    size: FloatArray
    told: FloatArray
    score: FloatArray

    @classmethod
    def of(cls, part: PartBefore, size: FloatArray, told: FloatArray, normal: FloatArray) -> _After:
        """`normal` are standard normal draws, shape (m, draws, p)."""
        # The records' score has the covariance of what they tell, and of what that makes of the effects.
        return cls(part, size, told, normal @ _root(told + told @ np.linalg.solve(part.thought, told)))

    def expected(self, precision: FloatArray) -> FloatArray:
        """What is expected of candidates beyond what is now, where effects had this precision before."""
        return np.asarray(self.score @ np.linalg.solve(precision + self.told, self.size.T))

    @cached_property
    def left(self) -> FloatArray:
        """What will be open, shape (m, n, p): values covary by the products of their rows."""
        return np.asarray(self.size @ np.linalg.cholesky(np.linalg.inv(self.part.analysed + self.told)))

    def mixed(self, few: int) -> FloatArray:
        """As `expected` by the analysis, of the first few outcomes, with each standard deviation: (m, few, m, n)."""
        seen = self.score[:, :few] @ np.linalg.pinv(self.told, rcond=TOLD_APART, hermitian=True)
        shrunk = np.linalg.solve(self.part.analysed + self.told, self.told)
        return np.asarray(np.einsum("jop,kqp,nq->jokn", seen, shrunk, self.size, optimize=True))


@dataclass(frozen=True)
class Preposterior:
    """What will be expected after a trial, as it is foreseen now.

    Attributes
    ----------
    beliefs : Beliefs
    costs : DecisionCosts
    parts : tuple
        Weights and logits of usable shares, after it.
    """

    beliefs: Beliefs
    costs: DecisionCosts
    parts: tuple[_After, _After]

    @classmethod
    def of(cls, beliefs: Beliefs, planned: Gathered, costs: DecisionCosts, design_effect: float) -> Preposterior:
        """Foresee; arguments as for `told_by`."""
        m, p = len(beliefs.weights.mean), beliefs.columns.shape[1]
        normal = spread_normal(DRAWS // 2, 2 * p).reshape(DRAWS // (2 * m), m, -1).swapaxes(0, 1)
        of_weights, of_logits = told_by(beliefs, planned, design_effect)
        return cls(
            beliefs,
            costs,
            (
                _After.of(beliefs.weights, beliefs.by_weights, of_weights, normal[..., :p]),
                _After.of(beliefs.logits, beliefs.by_logits, of_logits, normal[..., p:]),
            ),
        )

    @cached_property
    def found(self) -> FloatArray:
        """Equally likely outcomes, shape (m, draws, n): what the analysis will expect, in the unit of the value."""
        weights, logits = self.parts
        return self._mirrored(weights.expected(weights.part.analysed) + logits.expected(logits.part.analysed))

    @cached_property
    def true(self) -> FloatArray:
        """What is then to be expected by what is thought now; the same where the analysis begins with that."""
        weights, logits = self.parts
        if weights.part.analysed is weights.part.thought and logits.part.analysed is logits.part.thought:
            return self.found
        return self._mirrored(weights.expected(weights.part.thought) + logits.expected(logits.part.thought))

    def _mirrored(self, moved: FloatArray) -> FloatArray:
        return np.asarray(self.beliefs.expected + np.concatenate([moved, -moved], 1))

    @cached_property
    def cost(self) -> FloatArray:
        """What a change to each candidate costs."""
        return np.where(np.arange(len(self.beliefs.asked)) == self.beliefs.practice, 0.0, self.costs.change)

    @cached_property
    def chosen(self) -> IntArray:
        """Place of what will be recommended, shape (m, draws)."""
        return self.beliefs.choice(self.found, self.costs)

    @property
    def foreseen(self) -> Foreseen:
        """What the trial is expected to bring."""
        practice, now = self.beliefs.practice, int(self.beliefs.choice(self.beliefs.expected, self.costs))
        after = np.take_along_axis(self.true, self.chosen[..., None], -1)[..., 0]
        # What is expected of the choice now is so on average over the outcomes too: the same draws tell the difference.
        value = (after - self.cost[self.chosen]) - (self.true[..., now] - self.cost[now])
        return Foreseen(
            value=float(value.mean()),
            gain=float((after - self.true[..., practice]).mean()),
            change=float((self.chosen != now).mean()),
        )

    def left_open(self) -> LeftOpen:
        """What the trial is expected to leave open, by a part of the draws.

        The standard deviations that matter here are those that one trial hardly tells: after it they are taken to be
        as open as before, and intervals are those of the mixture over them.
        """
        left, practice = np.concatenate([one.left for one in self.parts], -1), self.beliefs.practice
        few = OUTCOMES // len(left)
        chosen, found = self.chosen[:, :few], self.found[:, :few]
        mixed = self.beliefs.expected + sum(one.mixed(few) for one in self.parts)
        rest = np.where(np.arange(found.shape[-1]) == practice, -np.inf, found).argmax(-1)
        other = np.where(chosen == practice, rest, chosen)
        within = ((left - left[:, [practice]]) ** 2).sum(-1).mean(0)[other]
        gains = np.take_along_axis(mixed, other[..., None, None], -1)[..., 0] - mixed[..., practice]
        m, n, q = left.shape
        normal = spread_normal(OUTCOMES, q).reshape(few, m, -1).swapaxes(0, 1)
        still = normal @ left.swapaxes(1, 2)
        known = found[:, :, None] + still.reshape(OUTCOMES, n)
        spread = (mixed[:, :, :, None] + still).reshape(m, few, OUTCOMES, n)
        # How sure a choice is hangs on them outcome by outcome, and records tell some: known and open count by halves
        # (a rule of thumb, no source; reports/foreseen.md sets it beside what trials find).
        sure = (self._near_best(known, chosen) + self._near_best(spread, chosen)) / 2
        return LeftOpen(
            settled=float((sure >= self.costs.sure).mean()),
            half_width=float(-ndtri((1 - self.costs.confidence) / 2) * np.sqrt(within + gains.var(-1)).mean()),
            dose_half_width=self._dose_half_width(spread, chosen),
        )

    def _near_best(self, drawn: FloatArray, chosen: IntArray) -> FloatArray:
        """Chance of the choice to lie within the margin of the best, of each outcome."""
        own = np.take_along_axis(drawn, chosen[..., None, None], -1)[..., 0]
        return np.asarray((own >= drawn.max(-1) - self.costs.margin).mean(-1))

    def _dose_half_width(self, drawn: FloatArray, chosen: IntArray) -> float:
        """Half-width of the interval of the best dose at the chosen cultivar and acid, on average."""
        asked = self.beliefs.asked
        tails = [(1 - self.costs.confidence) / 2, (1 + self.costs.confidence) / 2]
        widths = []
        for one in np.unique(np.column_stack([asked.cultivar, asked.acidifier]), axis=0):
            mine = np.flatnonzero((asked.cultivar == one[0]) & (asked.acidifier == one[1]))
            best = asked.dose[mine][drawn[np.isin(chosen, mine)][..., mine].argmax(-1)]
            low, high = np.quantile(best, tails, axis=-1, method="inverted_cdf")
            widths.append(high - low)
        return float(np.concatenate(widths).mean() / 2)


def _root(covariance: FloatArray) -> FloatArray:
    """Symmetric square roots, shape (..., p, p), which change little where the covariance does."""
    value, axes = np.linalg.eigh((covariance + covariance.swapaxes(-1, -2)) / 2)
    return np.asarray((axes * np.sqrt(np.maximum(value, 0.0))[..., None, :]) @ axes.swapaxes(-1, -2))


@cache
def spread_normal(size: int, d: int) -> FloatArray:
    """Draw standard normal numbers spread evenly, shape (size, d): a rule of one point more, the first left out.

    Neighbours of a lattice are close in some columns: the order is random, so that the first few are spread as well.
    """
    order = np.random.Generator(np.random.PCG64(ORDER_SEED)).permutation(size)
    return np.asarray(ndtri(lattice_points(size + 1, d)[:, 1:])).T[order]
