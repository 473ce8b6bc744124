"""`refit_many`: thousands of responses on one design, in vectorised passes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, cast

import numpy as np

from trialkit.domain.arrays import BoolArray, FloatArray
from trialkit.mixed.fit import MixedFit
from trialkit.mixed.hypotheses import term_contrasts
from trialkit.mixed.model import Prepared, prepare
from trialkit.mixed.orthogonal_strata import Strata, StrataSample, strata_sample
from trialkit.mixed.refusals import MixedModelError, NotEstimable
from trialkit.mixed.scoring import estimate_each
from trialkit.mixed.small_sample import FTests, SmallSample, small_sample

# Responses in one pass: arrays of about this many elements, to stay within the processor's caches.
PASS_ELEMENTS = 90_000
# Of an orthogonal design, whose responses shrink to a few sums of squares each.
PASS_RESPONSES = 2_000


@dataclass(frozen=True)
class Refits:
    """Fits of many responses on one design, the responses in front.

    Attributes
    ----------
    variances : ndarray, shape (n, k)
        In the order of ``fit.names``.
    criterion : ndarray, shape (n,)
        -2 log restricted likelihood, contrast-invariant.
    converged : ndarray of bool, shape (n,)
        Where False, the row's other values are missing.
    tests : dict of str to FTests
        Kenward-Roger's test of each term.
    estimate, se, df : ndarray, shape (n, c)
        Of each contrast asked for, with Kenward-Roger's standard error and degrees of freedom.

    Examples
    --------
    The same trial twice, the second time with every bucket 5 g heavier.

    >>> from trialkit.mixed import example, fit_mixed
    >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
    >>> refits = refit_many(fit, fit.response + np.array([[0.0], [5.0]]))
    >>> refits.variances.round(6).tolist(), refits.tests["dose"].f.round(6).tolist()
    ([[12.0, 4.0], [12.0, 4.0]], [28.0, 28.0])
    """

    variances: FloatArray
    criterion: FloatArray
    converged: BoolArray
    tests: dict[str, FTests]
    estimate: FloatArray
    se: FloatArray
    df: FloatArray


def refit_many(
    fit: MixedFit,
    responses: FloatArray,
    *,
    terms: Sequence[str] | None = None,
    contrasts: FloatArray | None = None,
) -> Refits:
    """Fit the model of `fit` to many responses.

    On an orthogonal design each response needs only the sums of squares of its strata
    (`trialkit.mixed.orthogonal_strata`); otherwise the responses go through the same scoring as a single fit, side by
    side. Either way the answers are those of fitting one by one.

    Parameters
    ----------
    fit : MixedFit
        By restricted likelihood; its bounds hold for the refits.
    responses : ndarray, shape (n, rows used)
        Such as `MixedFit.simulate` draws.
    terms : sequence of str, optional
        Terms to test; all by default.
    contrasts : ndarray, shape (c, columns of the model matrix), optional
        Estimable contrasts to estimate.

    Returns
    -------
    Refits

    Raises
    ------
    MixedModelError
        If the fit is not by restricted likelihood, or the responses have another length.
    NotEstimable
        If a contrast is not determined by the data.

    Examples
    --------
    >>> import numpy as np
    >>> import pandas as pd
    >>> from trialkit.mixed import fit_mixed
    >>> heads = pd.DataFrame({"dose": ["low", "high"] * 4, "block": [1, 1, 2, 2, 3, 3, 4, 4]})
    >>> fit = fit_mixed(heads.assign(weight_g=[98, 110, 90, 99, 104, 121, 95, 112]), "weight_g ~ dose", ["block"])
    >>> refits = refit_many(fit, fit.simulate(np.random.default_rng(1), 500))
    >>> refits.variances.shape, refits.tests["dose"].p.shape
    ((500, 2), (500,))
    """
    responses = np.atleast_2d(np.asarray(responses, float))
    if fit.method != "reml" or responses.shape[1] != fit.model.heads:
        raise MixedModelError(f"Refitting needs a fit by 'reml' and responses of {fit.model.heads} rows.")
    names = {":".join(term): i for i, term in enumerate(fit.model.fixed.formula.terms) if term}
    hypotheses = {name: term_contrasts(fit.model.fixed, names[name]) for name in (names if terms is None else terms)}
    wanted = np.empty((0, len(fit.model.fixed.names))) if contrasts is None else np.atleast_2d(contrasts)
    if not fit.model.fixed.estimable(wanted).all():
        raise NotEstimable("A contrast is not determined by the data: a combination that it needs was never tried.")
    asked = _Asked(
        {name: fit.model.fixed.to_orthogonal(rows) for name, rows in hypotheses.items() if len(rows)},
        fit.model.fixed.to_orthogonal(wanted),
    )
    if fit.strata is None:
        passes = [_by_scoring(fit, prepare(fit.model, some), asked) for some in _split(responses, _elements(fit))]
    else:
        by_number = PASS_ELEMENTS / PASS_RESPONSES
        passes = [_by_strata(fit, fit.strata, some, asked) for some in _split(responses, by_number)]
    return _each_array(passes, np.concatenate)


@dataclass(frozen=True)
class _Asked:
    hypotheses: dict[str, FloatArray]
    contrasts: FloatArray


def _elements(fit: MixedFit) -> int:
    """Elements that one response needs: U'V^-1U by block, and X'V^-1 V_i V^-1X."""
    blocks, m = fit.model.design.grams.shape[1:3]
    return int(max(blocks * m * m, len(fit.names) * fit.model.design.fixed**2))


def _split(responses: FloatArray, elements: float) -> Iterator[FloatArray]:
    """Responses in passes, given the elements that one needs."""
    step = max(1, int(PASS_ELEMENTS / elements))
    return (responses[i : i + step] for i in range(0, len(responses), step))


def _by_strata(fit: MixedFit, strata: Strata, responses: FloatArray, asked: _Asked) -> Refits:
    prepared = (prepare(fit.model, some) for some in _split(responses, fit.model.heads))
    sample = strata_sample(strata, prepared, float(fit.model.cells.sizes[0]), bounded=fit.bounds == "nonnegative")
    freedom = fit.model.heads - fit.model.design.fixed
    good = sample.definite
    kept = sample if good.all() else sample.take(good)
    answers = _answers(kept, kept.variances, kept.criterion, kept.scale, freedom, asked)
    return answers if good.all() else _spread(answers, good)


def _by_scoring(fit: MixedFit, prepared: Prepared, asked: _Asked) -> Refits:
    """Scoring for all responses side by side, from variances of equal size as a single fit does."""
    point, record = estimate_each(fit.model, prepared, restricted=True, bounded=fit.bounds == "nonnegative")
    good = record.converged
    if good.all():
        small = small_sample(point, record.free, prepared)
        return _answers(small, point.variances, point.criterion, prepared.scale, prepared.freedom, asked)
    kept, settled = prepared.take(good), point.take(good)
    small = small_sample(settled, record.free[good], kept)
    return _spread(_answers(small, settled.variances, settled.criterion, kept.scale, kept.freedom, asked), good)


def _spread(some: Refits, good: BoolArray) -> Refits:
    """Put the answers of the responses that settled in their rows; the others' are missing."""

    def spread(part: FloatArray) -> FloatArray:
        whole = np.full((len(good), *part.shape[1:]), np.nan)
        whole[good] = part
        return whole

    return replace(_each_array([some], lambda arrays: spread(arrays[0])), converged=good)


def _each_array(parts: Sequence[Refits], put: Callable[[list[Any]], Any]) -> Refits:
    """Refits each of whose arrays is made of the same array of some others."""

    def made(items: Sequence[Any]) -> Any:
        names = [field.name for field in fields(items[0]) if isinstance(getattr(items[0], field.name), np.ndarray)]
        return replace(items[0], **{name: put([getattr(item, name) for item in items]) for name in names})

    tests = {name: made([part.tests[name] for part in parts]) for name in parts[0].tests}
    return replace(cast(Refits, made(parts)), tests=tests)


def _answers(
    small: SmallSample | StrataSample,
    variances: FloatArray,
    criterion: FloatArray,
    scale: FloatArray,
    freedom: int,
    asked: _Asked,
) -> Refits:
    """Answer what was asked, in the responses' units; `variances` and `criterion` are in those of their scale."""
    contrasts = asked.contrasts
    general = (small if isinstance(small, SmallSample) else small.general) if len(contrasts) else None
    nothing = np.empty((len(variances), 0))
    return Refits(
        variances=variances * scale[:, None] ** 2,
        criterion=criterion + 2 * freedom * np.log(scale),
        converged=np.ones(len(variances), bool),
        tests={name: small.kenward_roger(rows) for name, rows in asked.hypotheses.items()},
        estimate=general.estimate(contrasts) if general else nothing,
        se=general.contrast_se(contrasts) if general else nothing,
        df=general.contrast_df(contrasts) if general else nothing,
    )
