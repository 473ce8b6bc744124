"""Power from simulated trials, told as the exact one is."""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import replace

import numpy as np
from scipy.special import stdtrit

from trialkit.documents.plan import DifferenceRow, EffectPower
from trialkit.domain.arrays import FloatArray
from trialkit.domain.errors import WrongCall
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.exact import Expectation, expected_power
from trialkit.planning.planned_design import PlannedDesign
from trialkit.planning.planned_power import Goal, PlannedPower
from trialkit.planning.power import finite, simultaneous_critical
from trialkit.planning.simulation import CHUNK, Draws, Task, simulate


def simulate_power(
    design: PlannedDesign,
    assumptions: Assumptions,
    goal: Goal,
    *,
    replicates: int,
    seed: int,
    executor: Executor,
    effects: FloatArray | None = None,
    chunk: int = CHUNK,
) -> PlannedPower:
    """Power of a design by simulated trials, each analysed as the real one will be (variances of strata left free).

    One run answers for every effect and every difference: an effect's test does not depend on the other effects, and
    an estimate's error does not depend on the truth. A trial whose analysis does not settle counts as one that found
    nothing.

    The kind and size of the executor change no number. `effects`, shape (heads,), are the true means, g, for the
    effects' F tests; the margin's pattern by default.

    Raises
    ------
    CannotBeJudged
        If more than 5 % of the analyses did not settle, or the design cannot be analysed.
    WrongCall
        If there is nothing to simulate, or `effects` has another length.
    """
    means = design.margin_effects(goal.margin_g) if effects is None else np.asarray(effects, float)
    if means.shape != (len(design.heads),):
        raise WrongCall(f"The means of {means.size} heads were given, and {len(design.heads)} are planned.")
    planned, variances = expected_power(design, assumptions, goal), design.variances(assumptions)
    contrasts = design.comparisons(goal.current).rows
    draws = simulate(Task(design, variances, means, contrasts, seed), replicates, executor, chunk=chunk)
    expectation = Expectation(design, variances, goal)
    told = [expectation.effect(effect, means) for effect in design.effects]
    correlation = expectation.correlation(design.model.fixed.to_orthogonal(contrasts))
    return replace(
        planned,
        effects=tuple(_effect(effect, p, goal) for effect, p in zip(told, draws.p.T, strict=True)),
        differences=tuple(_difference(d, draws, i, goal, correlation) for i, d in enumerate(planned.differences)),
        replicates=replicates,
        failed=draws.failed,
    )


def exact_or_simulated_power(
    design: PlannedDesign,
    assumptions: Assumptions,
    goal: Goal,
    *,
    replicates: int,
    seed: int,
    executor: Executor,
) -> PlannedPower:
    """Exact power where the design is orthogonal, simulated power where it is not.

    Parameters and errors as for `simulate_power`. With all but the first three filled in it is a
    `trialkit.planning.trial_sizes.Judge`.
    """
    planned = expected_power(design, assumptions, goal)
    if planned.method == "exact":
        return planned
    return simulate_power(design, assumptions, goal, replicates=replicates, seed=seed, executor=executor)


def monte_carlo_se(found: int, replicates: int) -> float:
    """Standard error of a simulated proportion, never nil: two more successes and failures (Agresti & Coull 1998).

    Am. Stat. 52, 119-126.
    """
    share = (found + 2) / (replicates + 4)
    return math.sqrt(share * (1 - share) / (replicates + 4))


def _effect(expected: EffectPower, p: FloatArray, goal: Goal) -> EffectPower:
    found = int((p < goal.level).sum())  # a missing p is not below
    return replace(expected, power=found / len(p), method="simulated", monte_carlo_se=monte_carlo_se(found, len(p)))


def _difference(expected: DifferenceRow, draws: Draws, at: int, goal: Goal, correlation: float) -> DifferenceRow:
    good = draws.settled
    error, se, df = draws.error[good, at], draws.se[good, at], draws.df[good, at]
    reach = stdtrit(df, 1 - goal.level / 2) * se
    together = simultaneous_critical(df, draws.error.shape[1], correlation, goal.level) * se

    # Found where error + difference lies beyond the reach, above or below.
    above, below = np.sort(reach - error), np.sort(-reach - error)

    def found(difference: float) -> int:
        return int(above.searchsorted(difference) + len(below) - below.searchsorted(difference, "right"))

    replicates = len(good)
    return replace(
        expected,
        power=found(goal.margin_g) / replicates,
        detectable_g=finite(_detectable(lambda d: found(d) / replicates, goal.power, float(reach.mean()))),
        half_width_g=float(together.mean()),
        method="simulated",
        monte_carlo_se=monte_carlo_se(found(goal.margin_g), replicates),
    )


def _detectable(power: Callable[[float], float], wanted: float, start: float) -> float:
    """Difference at which a simulated power reaches what is wanted; infinite if it never does."""
    from scipy.optimize import bisect  # a tenth of a second to load

    high = start
    while power(high) < wanted:
        high *= 2
        if high > 1e6 * start:
            return math.inf
    return float(bisect(lambda difference: power(difference) - wanted + 1e-12, 0.0, high, xtol=1e-6 * high))
