"""`refit_many`: thousands of responses on one design, in vectorised passes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from trialkit.domain.arrays import BoolArray, FloatArray
from trialkit.mixed.equality import SameByContent
from trialkit.mixed.fit import MixedFit
from trialkit.mixed.hypotheses import term_contrasts
from trialkit.mixed.likelihood import Evaluation
from trialkit.mixed.model import Prepared, prepare
from trialkit.mixed.refusals import MixedModelError, NotEstimable
from trialkit.mixed.scoring import estimate_each
from trialkit.mixed.small_sample import FTests, SmallSample, small_sample

if TYPE_CHECKING:
    from trialkit.mixed.absorbed_design import AbsorbedDesign
    from trialkit.mixed.absorbed_likelihood import AbsorbedPoint

# Responses in one pass: arrays of about this many elements, to stay within the processor's caches.
PASS_ELEMENTS = 90_000


@dataclass(frozen=True, eq=False)
class Refits(SameByContent):
    """Fits of many responses on one design, the responses in front.

    Attributes
    ----------
    variances : ndarray, shape (n, k)
        In the order of ``fit.model.parameter_names``: each term's variances, then its covariances.
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

    The responses go through the same scoring as a single fit, side by side: the answers are those of fitting one by
    one.

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
    step = max(1, int(PASS_ELEMENTS / _elements(fit)))
    passes = [responses[i : i + step] for i in range(0, len(responses), step)]
    return _each_array([_scored(fit, prepare(fit.model, some), asked) for some in passes], np.concatenate)


@dataclass(frozen=True)
class _Asked:
    hypotheses: dict[str, FloatArray]
    contrasts: FloatArray


def _elements(fit: MixedFit) -> int:
    """Elements that one response needs: U'V^-1U by block, and X'V^-1 V_i V^-1X; the second algebra takes one by one."""
    if not isinstance(fit.point, Evaluation):
        return PASS_ELEMENTS
    blocks, m = fit.model.design.grams.shape[1:3]
    return int(max(blocks * m * m, len(fit.names) * fit.model.design.fixed**2))


def _scored(fit: MixedFit, prepared: Prepared, asked: _Asked) -> Refits:
    """Scoring for all responses side by side, from variances of equal size as a single fit does."""
    if not isinstance(fit.point, Evaluation):
        return _scored_alone(fit, fit.point.design, prepared, asked)
    point, record = estimate_each(fit.model, prepared, restricted=True, bounded=fit.bounds == "nonnegative")
    good = record.converged
    if good.all():
        small = small_sample(point, record.free, prepared)
        return _answers(small, point, prepared, asked)
    kept, settled = prepared.take(good), point.take(good)
    small = small_sample(settled, record.free[good], kept)
    return _spread(_answers(small, settled, kept, asked), good)


def _scored_alone(fit: MixedFit, design: AbsorbedDesign, prepared: Prepared, asked: _Asked) -> Refits:
    """Scoring for one response by the second algebra."""
    from trialkit.mixed.face_scoring import estimate_again

    point, record = estimate_again(design, fit.model, prepared, restricted=True)
    small = small_sample(point, record.free, prepared, record.directions)
    answers = _answers(small, point, prepared, asked)
    return answers if record.converged[0] else _spread(_none(answers), np.array([False]))


def _none(answers: Refits) -> Refits:
    """No responses."""
    return _each_array([answers], lambda arrays: arrays[0][:0])


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


def _answers(small: SmallSample, point: Evaluation | AbsorbedPoint, prepared: Prepared, asked: _Asked) -> Refits:
    """Answer what was asked, in the responses' units; what the point has is in those of their scale."""
    scale = prepared.scale
    return Refits(
        variances=point.variances * scale[:, None] ** 2,
        criterion=point.criterion + 2 * prepared.freedom * np.log(scale),
        converged=np.ones(len(scale), bool),
        tests={name: small.kenward_roger(rows) for name, rows in asked.hypotheses.items()},
        estimate=small.estimate(asked.contrasts),
        se=small.contrast_se(asked.contrasts),
        df=small.contrast_df(asked.contrasts),
    )
