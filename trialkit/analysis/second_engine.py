"""A second engine beside ours: statsmodels' MixedLM fits what it can express, and both are set beside each other.

MixedLM holds variances at zero or above, so our engine is asked for the same; where the answer's own variances are free
and one is negative, that is said. Compared are the variances, the differences of treatments from the current practice
with their standard errors by the model, and the restricted likelihood.
"""

from __future__ import annotations

import contextlib
import math
import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
import pandas as pd

from trialkit.analysis.recorded_responses import YIELD
from trialkit.analysis.trial_analysis import current_label, recorded_trial
from trialkit.documents.answers import EngineFigure, EnginePart, SecondEngine
from trialkit.domain.treatment import Treatment
from trialkit.mixed import MixedFit, MixedModelError, NotConverged, fit_mixed

if TYPE_CHECKING:
    from trialkit.documents.findings import FittedModel
    from trialkit.documents.results import Results
    from trialkit.rules.trial_folder import CheckedTrial

BOUNDS: dict[EnginePart, float] = {
    "variance": 0.01,
    "difference": 0.01,
    "standard error": 0.03,
    "-2 log likelihood": 0.01,
}
"""How far apart figures may be: variances as a share of all variance together, differences in standard errors,
standard errors as a share of themselves, the likelihood in its own units. MixedLM's search ends on flat ground, hence
no less; its standard errors come from the observed information, where coefficients and variances are not kept apart."""
SEARCHES = ("bfgs", "powell", "lbfgs")
"""MixedLM may stop short of the highest likelihood with one search and reach it with another: the best counts."""


@dataclass(frozen=True)
class _Theirs:
    """What MixedLM found."""

    variances: dict[str, float]
    differences: Annotated[pd.Series, "By treatment, from the reference."]
    errors: pd.Series
    criterion: Annotated[float, "-2 log restricted likelihood, whatever the coding of the fixed part."]


def by_statsmodels(trial: CheckedTrial, results: Results) -> tuple[SecondEngine, ...]:
    """Fit the weights of an analysed trial by statsmodels too, and set both engines' figures beside each other.

    Parameters
    ----------
    trial : CheckedTrial
    results : Results
        Of the same trial.

    Returns
    -------
    tuple of SecondEngine
        One for each response, days too, which say why they were left out.
    """
    return tuple(_responses(trial, results))


def _responses(trial: CheckedTrial, results: Results) -> Iterator[SecondEngine]:
    found = recorded_trial(trial)
    rows = {"weight_g": found.weighed, YIELD: found.yields.buckets}
    current = current_label(trial, found.treatments)
    names = {
        str(label): " / ".join(map(str, Treatment.of(row).levels.values()))
        for label, row in zip(found.treatments.index, found.treatments.to_dict("records"), strict=True)
    }
    for name, response in results.responses.items():
        if response.status != "analysed" or response.model is None:
            yield SecondEngine(name, "not analysed", ())
        elif name not in rows:
            yield SecondEngine(name, "known between visits", ())
        elif any(note.code == "spread_by_garden" for note in response.model.notes):
            yield SecondEngine(name, "variances of their own", ())
        else:
            is_negative = any(one.variance < 0 for one in response.variances)
            try:
                fitted = _rows_of(rows[name], name, response.model)
                figures = tuple(_compared(name, fitted, response.model, current, names))
            except MixedModelError:
                yield SecondEngine(name, "not settled", ())
                continue
            yield SecondEngine(name, "free variances" if is_negative else "same model", figures)


def _rows_of(rows: pd.DataFrame, response: str, model: FittedModel) -> pd.DataFrame:
    """The rows that the model was fitted to: heads, or the means of buckets."""
    if model.observations == len(rows):
        return rows
    means = rows.groupby("bucket", as_index=False, sort=False).first()
    return means.assign(**{response: rows.groupby("bucket", sort=False)[response].mean().to_numpy()})


def _compared(
    response: str, rows: pd.DataFrame, model: FittedModel, current: str, names: Mapping[str, str]
) -> Iterator[EngineFigure]:
    nuisance = _nuisance(model)
    formula = f"{response} ~ {' + '.join([*nuisance, 'treatment'])}"
    tried = [label for label in dict.fromkeys(rows["treatment"].astype(str)) if label != current]
    ours = fit_mixed(
        rows.assign(treatment=pd.Categorical(rows["treatment"].astype(str), [current, *tried])), formula, model.random
    )
    theirs = _mixed_lm(response, rows, nuisance, model.random, current)
    if theirs is None:
        raise NotConverged("None of MixedLM's searches ends.")
    total = float(sum(ours.variances))
    for term in ours.names:
        yield _figure("variance", term, float(ours.variances[term]), theirs.variances[term], total)
    for label, difference, error in _differences(ours, tried):
        yield _figure("difference", names[label], difference, float(theirs.differences[label]), error)
        yield _figure("standard error", names[label], error, float(theirs.errors[label]), error)
    yield _figure("-2 log likelihood", "", ours.criterion, theirs.criterion, 1.0)


def _nuisance(model: FittedModel) -> list[str]:
    """Fixed terms before the treatment: groupings with too few levels to be random."""
    return [term.strip() for term in model.formula.partition("~")[2].split("+")[:-1]]


def _figure(part: EnginePart, key: str, ours: float, theirs: float, scale: float) -> EngineFigure:
    apart = abs(ours - theirs) / scale
    return EngineFigure(part, key, ours, theirs, bool(apart <= BOUNDS[part]))


def _differences(fit: MixedFit, tried: Sequence[str]) -> Iterator[tuple[str, float, float]]:
    """Differences from the current practice, their standard errors by the model, without small-sample correction."""
    covariance = fit.covariance("model")
    estimates = fit.coefficients["estimate"]
    for label in tried:
        name = f"treatment[T.{label}]"
        yield label, float(estimates[name]), math.sqrt(float(covariance.loc[name, name]))


def _mixed_lm(
    response: str, rows: pd.DataFrame, nuisance: Sequence[str], random: Sequence[str], current: str
) -> _Theirs | None:
    """Fit by MixedLM, the gardens as its groups where they vary, other terms as variance components in them.

    None where none of its searches ends.
    """
    from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

    tried = [label for label in dict.fromkeys(rows["treatment"].astype(str)) if label != current]
    data = rows.reset_index(drop=True)
    fixed = pd.DataFrame({"Intercept": np.ones(len(data))})
    for column in nuisance:
        fixed = fixed.join(pd.get_dummies(data[column].astype(str), prefix=column, drop_first=True, dtype=float))
    treatment = data["treatment"].astype(str)
    for label in tried:
        fixed[label] = (treatment == label).to_numpy(float)
    groups = data["site"].astype(str) if "site" in random else pd.Series("all", index=data.index)
    terms = [term for term in random if term != "site"]
    names, columns, members = [], [], []
    for term in terms:
        labels = data[term.split(":")].astype(str).agg("|".join, axis=1)
        names.append(term)
        of_groups = [labels[groups == group] for group in groups.unique()]
        members.append([pd.get_dummies(one, dtype=float).to_numpy() for one in of_groups])
        columns.append([list(pd.get_dummies(one).columns) for one in of_groups])
    unit = float(data[response].std())  # the search is at its best where figures are about one
    model = MixedLM(
        data[response].to_numpy(float) / unit,
        fixed,
        groups,
        exog_re=np.ones((len(data), 1)) if "site" in random else None,
        exog_vc=VCSpec(names, columns, members) if terms else None,
    )
    best = _best(model)
    if best is None:
        return None
    variances = dict(zip(names, map(float, best.vcomp), strict=True)) | {"residual": float(best.scale)}
    if "site" in random:
        variances["site"] = float(np.asarray(best.cov_re)[0, 0])
    logdet = float(np.linalg.slogdet(fixed.T.to_numpy() @ fixed.to_numpy())[1])
    criterion = -2 * float(best.llf) - logdet + 2 * (len(data) - fixed.shape[1]) * math.log(unit)
    squared = {term: variance * unit**2 for term, variance in variances.items()}
    return _Theirs(squared, best.fe_params[tried] * unit, best.bse_fe[tried] * unit, criterion)


def _best(model: Any) -> Any:
    """Fit of greatest likelihood, from the usual start, then from the best so far; None where every search fails."""
    best, start = None, None
    for search in (*SEARCHES, *SEARCHES):
        with warnings.catch_warnings(), contextlib.suppress(np.linalg.LinAlgError):
            warnings.simplefilter("ignore")  # of ends near zero: what counts is the likelihood reached
            fit = model.fit(reml=True, method=[search], start_params=start)
            if best is None or fit.llf > best.llf:
                best = fit
        start = best.params_object if best is not None else None
    return best
