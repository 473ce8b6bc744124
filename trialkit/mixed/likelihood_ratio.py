"""Nested fits against each other: likelihood ratios, with what a variance at the edge of its range does to them."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import chdtrc

from trialkit.mixed.binomial import BinomialFit
from trialkit.mixed.blocks import is_nested
from trialkit.mixed.coded_factors import CodedFactor
from trialkit.mixed.equality import same
from trialkit.mixed.fit import MixedFit
from trialkit.mixed.refusals import MixedModelError

Fit = MixedFit | BinomialFit

# Of a fixed part, what may be left over of its columns (each of length 1) outside those of a larger one.
OUTSIDE = 1e-7
# By how much, as a share of itself, a larger fit's log likelihood may come out below a smaller one's, by rounding.
WORSE = 1e-8


def compare_fits(*fits: Fit) -> pd.DataFrame:
    """Test fits of one kind against each other by their likelihoods, each nested in the next.

    Twice the gain in log likelihood is chi-square, in large samples, on as many degrees of freedom as there are more
    parameters (Wilks 1938). Fixed parts are compared by full likelihood (``method="ml"``), and in small samples better
    by `MixedFit.anova`; random parts by either.

    A variance that the smaller fit leaves out is held there at zero, the edge of its range: p is then conservative.
    Where it is one variance, with or without covariances, ``p_mixture`` has the mean of the chi-square tails on one
    degree less and on all of them, which is right in large samples (Self & Liang 1987, J. Am. Stat. Assoc. 82;
    Stram & Lee 1994, Biometrics 50). Variances that may be negative (``bounds="strata"``) have no such edge.

    Parameters
    ----------
    *fits : MixedFit or BinomialFit
        Two or more of the same rows, the smallest first.

    Returns
    -------
    pandas.DataFrame
        By number of the fit: formula, random (its terms), parameters, aic, bic, log_likelihood; and of the fit against
        the one before it chi_square, df, p, p_mixture, and note, which says where p is conservative.

    Raises
    ------
    MixedModelError
        If the fits cannot be compared: of other rows, responses, methods or bounds; not nested; by restricted
        likelihood with fixed parts that differ. All reasons are told at once.

    Examples
    --------
    >>> from trialkit.mixed import example, fit_mixed
    >>> trial = example.small_trial()
    >>> small, large = (fit_mixed(trial, "weight_g ~ dose", random, method="ml") for random in ([], "block"))
    >>> compared = compare_fits(small, large)
    >>> compared[["parameters", "chi_square", "df", "p", "p_mixture"]].round(4)
         parameters  chi_square   df       p  p_mixture
    fit
    1             4         NaN  NaN     NaN        NaN
    2             5      7.4252  1.0  0.0064     0.0032
    >>> compared.loc[2, "note"]
    'p is conservative: the smaller fit holds a variance at zero, the edge of its range.'
    """
    if len(fits) < 2 or not all(isinstance(fit, Fit) for fit in fits):
        raise MixedModelError("Give two fits or more, the smallest first, such as compare_fits(small, large).")
    faults = [fault for small, large in pairwise(fits) for fault in _faults(small, large)]
    if faults:
        raise MixedModelError(f"These fits cannot be compared. {' '.join(dict.fromkeys(faults))}")
    told: dict[str, list[Any]] = {
        "formula": [fit.formula for fit in fits],
        "random": [", ".join(term.name for term in fit.model.terms) for fit in fits],
        **{name: [getattr(fit, name) for fit in fits] for name in ("parameters", "aic", "bic", "log_likelihood")},
    }
    ratios: list[dict[str, Any]] = [{}, *(_ratio(small, large) for small, large in pairwise(fits))]
    for name in ("chi_square", "df", "p", "p_mixture"):
        told[name] = [ratio.get(name, np.nan) for ratio in ratios]
    told["note"] = [ratio.get("note", "") for ratio in ratios]
    return pd.DataFrame(told, index=pd.RangeIndex(1, len(fits) + 1, name="fit"))


def _ratio(small: Fit, large: Fit) -> dict[str, Any]:
    """Test one fit against the one that it holds."""
    gained, df = 2 * (large.log_likelihood - small.log_likelihood), large.parameters - small.parameters
    if gained < -WORSE * abs(large.log_likelihood):
        raise MixedModelError(
            f"Fit {large.formula!r} is less likely than fit {small.formula!r}, which it holds, by {-gained / 2:.3g}: "
            "it stopped short of the greatest likelihood."
        )
    gained = max(gained, 0.0)
    ratio: dict[str, Any] = {"chi_square": gained, "df": df, "p": _tail(df, gained)}
    edges = _edges(large) - _edges(small)
    if edges == 0:
        return ratio
    note = f"p is conservative: the smaller fit holds {'a variance' if edges == 1 else f'{edges} variances'} at zero, "
    note += "the edge of its range." if edges == 1 else "the edge of their range."
    others = (*small.at_zero, *(small.singular if isinstance(small, MixedFit) else ()))
    if edges == 1 and not others:
        ratio["p_mixture"] = (_tail(df - 1, gained) + _tail(df, gained)) / 2
    elif edges == 1:
        note += f" There is no p_mixture: {', '.join(others)} of the smaller fit is at the edge by estimate, too."
    return ratio | {"note": note}


def _tail(df: int, value: float) -> float:
    """Chance of a chi-square at least so large; on no degrees of freedom it is always zero."""
    return float(chdtrc(df, value)) if df else float(value <= 0)


def _edges(fit: Fit) -> int:
    """Variances that cannot be below zero, those of residuals left out, which are never near it."""
    bounded = isinstance(fit, BinomialFit) or fit.bounds == "nonnegative"
    return sum(len(term.parts) for term in fit.model.terms) if bounded else 0


def _faults(small: Fit, large: Fit) -> Iterator[str]:
    """What keeps two fits from being compared."""
    if type(small) is not type(large):
        yield "One is linear, the other logistic."
        return
    for name in ("method", "bounds", "points"):
        first, second = getattr(small, name, None), getattr(large, name, None)
        if first != second:
            yield f"One was fitted with {name}={first!r}, the other with {name}={second!r}."
    if not _same_rows(small, large):
        yield (
            f"They are of other rows or responses ({small.model.heads} and {large.model.heads} rows used): first leave "
            "out the rows that lack a value which either of them needs."
        )
        return
    if large.parameters <= small.parameters:
        yield f"Of two fits the second has more parameters: here {small.parameters} and {large.parameters}."
        return
    if _outside(small, large):
        yield f"The fixed part of {small.formula!r} is no part of that of {large.formula!r}."
    elif _outside(large, small) and isinstance(small, MixedFit) and small.method == "reml":
        yield (
            f"The fixed parts of {small.formula!r} and {large.formula!r} differ, and restricted likelihoods compare "
            "random parts alone: fit both with method='ml'."
        )
    known = {key for key, _ in _random_parameters(large)}
    alone = dict.fromkeys(name for key, name in _random_parameters(small) if key not in known)
    if alone:
        yield f"The larger fit lacks {' and '.join(map(repr, alone))} of the smaller one's random terms."
    if not is_nested(_by_row(large.model.residual, large), _by_row(small.model.residual, small)):
        yield f"The residual variances by {small.model.residual.name!r} are no part of the larger fit's."


def _same_rows(small: Fit, large: Fit) -> bool:
    if not small.model.row_labels.equals(large.model.row_labels):
        return False
    if isinstance(small, MixedFit) and isinstance(large, MixedFit):
        return same(small.response, large.response)
    return all(same(getattr(small, name), getattr(large, name)) for name in ("successes", "trials"))


def _outside(one: Fit, other: Fit) -> bool:
    """Whether columns of one fixed part lie outside those of the other."""
    first, second = (fit.model.fixed.orthogonal[fit.model.fixed_row][fit.model.cells.codes] for fit in (one, other))
    left = first - second @ (second.T @ first)
    return bool(np.linalg.norm(left, axis=0).max() > OUTSIDE)


def _random_parameters(fit: Fit) -> Iterator[tuple[tuple[bytes, frozenset[str]], str]]:
    """What each parameter of the random terms is of, whatever its grouping is called; and the term's name."""
    for term in fit.model.terms:
        grouping = pd.factorize(term.codes[fit.model.cells.codes])[0].tobytes()
        for i, j in term.pairs:
            yield (grouping, frozenset((term.parts[i], term.parts[j]))), term.name


def _by_row(factor: CodedFactor, fit: Fit) -> CodedFactor:
    return CodedFactor(factor.name, factor.levels, factor.codes[fit.model.cells.codes])
