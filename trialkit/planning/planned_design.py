"""A trial as it would be grown and analysed: planned heads, the model that its randomisation implies, what is asked."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated

import numpy as np
import pandas as pd

from trialkit.documents.plan import Refusal
from trialkit.domain.arrays import FloatArray
from trialkit.domain.errors import WrongCall
from trialkit.domain.treatment import Treatment
from trialkit.mixed import MixedModelError
from trialkit.mixed.coded_factors import CodedFactor, cross, encode
from trialkit.mixed.fixed import parse_formula
from trialkit.mixed.hypotheses import term_contrasts
from trialkit.mixed.likelihood import evaluate
from trialkit.mixed.means import mean_rows
from trialkit.mixed.model import Model, build_model, prepare
from trialkit.mixed.orthogonal_strata import Strata, find_strata
from trialkit.mixed.scoring import distinct_start
from trialkit.mixed.small_sample import SmallSample, small_sample
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.refusal import CannotBeJudged

ModelOf = Callable[[pd.DataFrame], tuple[str, Sequence[str]]]
"""Formula and random terms for planned heads: how the analysis would derive them from the randomisation."""


@dataclass(frozen=True)
class Comparisons:
    """Every other treatment against the current practice."""

    treatments: tuple[Treatment, ...]
    rows: Annotated[FloatArray, "Shape (comparisons, columns of the model matrix)."]


@dataclass(frozen=True)
class PlannedDesign:
    """Planned heads and the model that they would be analysed by."""

    heads: Annotated[
        pd.DataFrame, "One row a head: bucket, site and other groupings, and the treatment columns as factors."
    ]
    formula: Annotated[str, "Response and fixed part."]
    random: Annotated[tuple[str, ...], "Random terms besides the residual."]
    treatment: Annotated[tuple[str, ...], "Columns of the treatment factors."]

    @cached_property
    def data(self) -> pd.DataFrame:
        """The heads with a response to be filled in, g."""
        return self.heads.assign(**{parse_formula(self.formula).response: np.arange(len(self.heads), dtype=float)})

    @cached_property
    def model(self) -> Model:
        """The engine's model of the design.

        Raises
        ------
        CannotBeJudged
            If the layout leaves nothing to estimate a variance from, or cannot tell two variances apart.
        """
        try:
            model = build_model(self.data, self.formula, self.random)[0]
            distinct_start(model, prepare(model, self._filler))
        except MixedModelError as error:
            raise CannotBeJudged(Refusal("not analysable", detail=str(error))) from error
        return model

    @cached_property
    def strata(self) -> Strata | None:
        """Strata where the design is orthogonal, else None."""
        return find_strata(self.model)

    @property
    def effects(self) -> tuple[str, ...]:
        """Terms of the formula that are made of treatment factors only."""
        return tuple(":".join(term) for term in self._terms if term and set(term) <= set(self.treatment))

    @property
    def buckets(self) -> int:
        """How many buckets there are."""
        return int(self.heads["bucket"].nunique())

    def effect_rows(self, effect: str) -> FloatArray:
        """Contrasts, shape (l, columns of the model matrix), that are nil where an effect is absent."""
        return term_contrasts(self.model.fixed, self._terms.index(tuple(effect.split(":"))))

    def comparisons(self, current: Mapping[str, object]) -> Comparisons:
        """Differences from the current practice that the layout determines.

        Raises
        ------
        WrongCall
            If the current practice is not among the treatments.
        CannotBeJudged
            If none of the differences is determined.
        """
        asked = mean_rows(self.model, ":".join(self.treatment))
        levels = [tuple(map(str, level)) for level in asked.levels]
        wanted = tuple(level_text(current[column]) if column in current else "" for column in self.treatment)
        if wanted not in levels:
            raise WrongCall(f"The current practice, {', '.join(wanted)}, is not among the treatments of the trial.")
        at = levels.index(wanted)
        others = [i for i in range(len(levels)) if i != at]
        rows = asked.rows[others] - asked.rows[at]
        known = self.model.fixed.estimable(rows)
        if not known.any():
            raise CannotBeJudged(Refusal("not comparable"))
        kept = (dict(zip(self.treatment, levels[i], strict=True)) for i, k in zip(others, known, strict=True) if k)
        return Comparisons(tuple(map(Treatment.of, kept)), rows[known])

    def margin_effects(self, margin: float) -> FloatArray:
        """Mean of each head, shape (heads,), g, in the pattern that is hardest to find for a difference of the margin.

        For each factor its first and last level differ by the margin and the others sit midway (the least favourable
        pattern: Cohen 1988, Statistical Power Analysis, ch. 8, pattern of minimum variability, from memory); for an
        interaction these patterns are multiplied, so that an effect changes by the margin.
        """
        total = np.zeros(len(self.heads))
        for effect in self.effects:
            columns = [_extremes(encode(self.heads[name])) for name in effect.split(":")]
            total += np.prod(columns, axis=0)
        return margin * total

    def coefficients(self, means: FloatArray) -> FloatArray:
        """Coefficients, in the engine's orthogonal basis, of given means of heads, shape (heads,) -> (p,)."""
        fixed_row = self.model.fixed_row[self.model.cells.codes]
        return np.asarray(means @ self.model.fixed.orthogonal[fixed_row])

    def variances(self, assumptions: Assumptions) -> FloatArray:
        """Assumed variance of each random term and the residual, shape (k,), g^2, in the order of the model's names.

        A group of heads that the model cannot tell from another (the bucket from its only head, a block from the garden
        that it fills) adds its variance to that one.
        """
        names = self.model.variance_names
        totals = dict.fromkeys(names, 0.0)
        for term in self._groupings:
            place = self._place(term)
            if place is not None:
                totals[place] += assumptions.variance_of(term, self.treatment)
        totals["residual"] += assumptions.variance_of("residual", self.treatment)
        return np.array([totals[name] for name in names])

    @property
    def uncounted(self) -> tuple[str, ...]:
        """Treatment effects differing between gardens that the model leaves out: answers hold for its gardens only."""
        return tuple(t for t in self._groupings if set(t.split(":")) & set(self.treatment) and self._place(t) is None)

    def sample_at(self, variances: FloatArray) -> SmallSample:
        """Kenward-Roger's quantities if the variances were estimated at these values, shape (k,), g^2.

        The response does not enter: an exemplary data set in the sense of Stroup (2002), J. Agric. Biol. Environ. Stat.
        7, 491-511.
        """
        prepared = prepare(self.model, self._filler)
        scaled = np.maximum(variances, 1e-9 * variances.sum())[None] / prepared.scale[:, None] ** 2
        point = evaluate(self.model.cross_products(prepared), scaled, restricted=True)
        return small_sample(point, np.ones(scaled.shape, bool), prepared)

    @property
    def _terms(self) -> tuple[tuple[str, ...], ...]:
        return parse_formula(self.formula).terms

    @property
    def _filler(self) -> FloatArray:
        """Any response will do where none is looked at."""
        return np.random.Generator(np.random.PCG64(0)).standard_normal((1, len(self.heads)))

    @cached_property
    def _groupings(self) -> tuple[str, ...]:
        """Groups of heads that may differ, whether the model has them or not."""
        between = [f"site:{column}" for column in self.treatment] if "site" in self.heads else []
        usual = [term for term in ("site", "site:block", "bucket") if set(term.split(":")) <= set(self.heads.columns)]
        return tuple(dict.fromkeys([*self.random, *usual, *between]))

    @cached_property
    def _patterns(self) -> dict[bytes, str]:
        """Which term, or the residual, each way of grouping the heads stands for."""
        patterns = {_grouping(self.heads, term): term for term in reversed(self.random)}
        return {np.arange(len(self.heads)).tobytes(): "residual"} | patterns

    def _place(self, term: str) -> str | None:
        return term if term in self.random else self._patterns.get(_grouping(self.heads, term))


def planned_design(layout: pd.DataFrame, heads: int, treatment: Sequence[str], model_of: ModelOf) -> PlannedDesign:
    """Plan a trial on a layout.

    The layout has a row a bucket: bucket, site, block and other groupings, treatment columns. `model_of` tells formula
    and random terms for the planned heads, as the analysis will derive them.
    """
    if heads < 1 or layout.empty:
        raise WrongCall("A trial needs at least one bucket with one head.")
    rows = layout.loc[layout.index.repeat(heads)].reset_index(drop=True)
    for column in treatment:
        levels = sorted(rows[column].unique()) if rows[column].dtype.kind in "iuf" else list(rows[column].unique())
        text = rows[column].map(level_text)  # a number would enter a model as a slope
        rows[column] = pd.Categorical(text, categories=[level_text(level) for level in levels])
    formula, random = model_of(rows)
    return PlannedDesign(rows, formula, tuple(random), tuple(treatment))


def level_text(level: object) -> str:
    """A level as text, a number without needless zeros."""
    return f"{level:g}" if isinstance(level, int | float | np.number) else str(level)


def _extremes(factor: CodedFactor) -> FloatArray:
    """Minus a half at the first level, a half at the last, zero between; by head."""
    values = np.zeros(len(factor.levels))
    values[0], values[-1] = -0.5, 0.5
    return values[factor.codes]


def _grouping(heads: pd.DataFrame, term: str) -> bytes:
    """A grouping of the heads, whatever its levels are called: each head's group, numbered as they first occur."""
    codes = cross([encode(heads[column]) for column in term.split(":")]).codes
    return bytes(pd.factorize(codes)[0].astype(np.intp).tobytes())
