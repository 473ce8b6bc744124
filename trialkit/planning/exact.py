"""Power without simulation: exact where the design is orthogonal, and close to it elsewhere."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Annotated

import numpy as np

from trialkit.documents.plan import DifferenceRow, EffectPower, Method
from trialkit.domain.arrays import FloatArray
from trialkit.domain.treatment import Treatment
from trialkit.mixed.small_sample import SmallSample
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.planned_design import PlannedDesign
from trialkit.planning.planned_power import Goal, PlannedPower
from trialkit.planning.power import EstimatedDifference, detectable_noncentrality, f_power, finite

SHARE_TOLERANCE = 1e-8


@dataclass(frozen=True)
class Expectation:
    """A design under assumed variances."""

    design: PlannedDesign
    variances: Annotated[FloatArray, "Shape (k,). g^2, in the order of the model's names."]
    goal: Goal

    @cached_property
    def sample(self) -> SmallSample:
        """Kenward-Roger's quantities at these variances."""
        return self.design.sample_at(self.variances)

    @cached_property
    def stratum_variances(self) -> FloatArray:
        """Expected mean square of each stratum of an orthogonal design, shape (strata,), g^2."""
        strata = self.design.strata
        return np.asarray(strata.multipliers @ self.variances) if strata else np.empty(0)

    def effect(self, effect: str, means: FloatArray) -> EffectPower:
        """Power of an effect's F test for given true means of the heads, shape (heads,)."""
        goal, rows = self.goal, self.design.effect_rows(effect)
        contrasts = self.design.model.fixed.to_orthogonal(rows)
        size, true = len(contrasts), contrasts @ self.design.coefficients(means)
        within = self._stratum(contrasts)
        if within is None:
            covariance = contrasts @ self.sample.phi[0] @ contrasts.T
            df = float(self.sample.kenward_roger(contrasts).denominator_df[0])
        else:
            covariance = self.stratum_variances[within] * (contrasts @ contrasts.T)
            df = float(self._strata_df[within])
        noncentrality = float(true @ np.linalg.solve(covariance, true))
        wanted = detectable_noncentrality(size, df, goal.level, goal.power)
        return EffectPower(
            effect=effect,
            numerator_df=size,
            denominator_df=df,
            noncentrality=noncentrality,
            power=f_power(noncentrality, size, df, goal.level),
            detectable_g=finite(goal.margin_g * math.sqrt(wanted / noncentrality)) if noncentrality else None,
            method="approximate" if within is None else "exact",
        )

    def difference(self, contrast: FloatArray) -> tuple[EstimatedDifference, Method]:
        """How one contrast of the orthogonal basis, shape (p,), is estimated."""
        strata = self.design.strata
        if strata is None:
            variance = float(contrast @ self.sample.phi[0] @ contrast)
            df = self.sample.contrast_df(contrast[None])[0]
            return EstimatedDifference(np.array([variance]), df, self.goal.level), "approximate"
        parts = np.array([contrast @ share @ contrast for share in strata.shares]) * self.stratum_variances
        return EstimatedDifference(parts, self._strata_df, self.goal.level), "exact"

    def correlation(self, contrasts: FloatArray) -> float:
        """Average correlation of estimated differences, zero where they do not go together."""
        if len(contrasts) < 2:
            return 0.0
        covariance = contrasts @ self.sample.phi[0] @ contrasts.T
        sd = np.sqrt(np.diagonal(covariance))
        pairs = np.triu_indices(len(contrasts), 1)
        return float(np.clip((covariance / np.outer(sd, sd))[pairs].mean(), 0.0, 1 - 1e-9))

    @property
    def _strata_df(self) -> FloatArray:
        return self.design.strata.df if self.design.strata else np.empty(0)

    def _stratum(self, contrasts: FloatArray) -> int | None:
        """The stratum that all of the contrasts lie in, if there is one."""
        shares = self.design.strata.shares if self.design.strata else ()
        limit = SHARE_TOLERANCE * float(np.abs(contrasts).max())
        return next((s for s, share in enumerate(shares) if np.abs(contrasts @ share - contrasts).max() < limit), None)


def expected_power(design: PlannedDesign, assumptions: Assumptions, goal: Goal) -> PlannedPower:
    """Power, detectable differences and widths of a design, without simulation.

    Where the design is orthogonal (Nelder 1965) the F test of an effect that lies in one
    stratum is the classical one, ``F(l, f_s, lambda)`` with ``lambda = delta' (C C')^-1 delta / xi_s`` and ``xi_s`` the
    stratum's expected mean square, and this is exact. A difference of treatments whose parts lie in several
    strata is averaged over their mean squares (`EstimatedDifference`). Elsewhere the non-central F with
    Kenward-Roger's degrees of freedom at the assumed variances is an approximation (Stroup 2002, J. Agric. Biol.
    Environ. Stat. 7, 491-511), and says so.

    Raises
    ------
    CannotBeJudged
        If a trial laid out like this could not be analysed.
    WrongCall
        If the current practice is not among the treatments.
    """
    expectation = Expectation(design, design.variances(assumptions), goal)
    means = design.margin_effects(goal.margin_g)
    return PlannedPower(
        goal=goal,
        buckets=design.buckets,
        heads=len(design.heads),
        effects=tuple(expectation.effect(effect, means) for effect in design.effects),
        differences=_differences(expectation),
        uncounted=design.uncounted,
    )


def hardest_difference(design: PlannedDesign, assumptions: Assumptions, goal: Goal) -> DifferenceRow:
    """The treatment that is compared least well with the current practice, as `expected_power` has it, width apart.

    Raises
    ------
    CannotBeJudged
        If a trial laid out like this could not be analysed.
    WrongCall
        If the current practice is not among the treatments.
    """
    found, _ = _estimated(Expectation(design, design.variances(assumptions), goal))
    of_kinds = {one.kind: one for one in found}
    power = {kind: one.estimated.power(goal.margin_g) for kind, one in of_kinds.items()}
    hardest = of_kinds[min(of_kinds, key=lambda kind: (power[kind], -of_kinds[kind].estimated.variance))]
    return hardest.row(goal, power[hardest.kind], None)


@dataclass(frozen=True)
class _Estimated:
    """How a treatment's difference from the current practice is estimated."""

    treatment: Treatment
    estimated: EstimatedDifference
    method: Method

    @property
    def kind(self) -> tuple[str, ...]:
        """In a balanced trial most differences are estimated alike."""
        return tuple(f"{part:.9e}" for part in (*self.estimated.parts, self.estimated.df))

    def row(self, goal: Goal, power: float, half_width_g: float | None) -> DifferenceRow:
        return DifferenceRow(
            treatment=self.treatment,
            standard_error_g=float(np.sqrt(self.estimated.variance)),
            df=self.estimated.df,
            power=power,
            detectable_g=finite(self.estimated.detectable(goal.power)),
            half_width_g=half_width_g,
            method=self.method,
            monte_carlo_se=0.0,
        )


def _estimated(expectation: Expectation) -> tuple[list[_Estimated], float]:
    """Every difference, and how the estimates go together."""
    asked = expectation.design.comparisons(expectation.goal.current)
    contrasts = expectation.design.model.fixed.to_orthogonal(asked.rows)
    found = [
        _Estimated(treatment, *expectation.difference(contrast))
        for treatment, contrast in zip(asked.treatments, contrasts, strict=True)
    ]
    return found, expectation.correlation(contrasts)


def _differences(expectation: Expectation) -> tuple[DifferenceRow, ...]:
    found, correlation = _estimated(expectation)
    goal, known = expectation.goal, {}
    for one in found:
        if one.kind not in known:
            half_width = one.estimated.half_width(len(found), correlation)
            known[one.kind] = one.row(goal, one.estimated.power(goal.margin_g), half_width)
    return tuple(replace(known[one.kind], treatment=one.treatment) for one in found)
