"""Random-effects meta-analysis of effects that each come with a sampling variance, and effects of classes shrunk.

The model is ``y_i = x_i'b + u_i + e_i`` with ``u_i ~ N(0, tau2)`` and known ``var(e_i) = v_i``; tau2 by restricted
likelihood (Viechtbauer 2005, J. Educ. Behav. Stat. 30, 261-293).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtri, stdtr, stdtrit

from trialkit.domain.arrays import FloatArray
from trialkit.domain.errors import NotComputed, WrongCall

FARTHEST = 1e8
"""A variance between studies is looked for up to so many times that of the effects and their errors together."""


@dataclass(frozen=True)
class MetaAnalysis:
    """Effects combined."""

    # Shape (p,). Coefficients, and standard errors by Hartung & Knapp (2001, Stat. Med.) and Sidik &
    # Jonkman (2002, Stat. Med. 21, 3153-3159): of the spread that the effects show, with `df` degrees of freedom.
    estimates: FloatArray
    se: FloatArray
    model_se: Annotated[FloatArray, "Shape (p,). The same from the model, as if tau2 were known."]
    df: Annotated[int, "Studies less coefficients."]
    tau2: Annotated[
        float,
        "Variance between studies; `tau2_lower` and `tau2_upper` are its 95 % Q-profile limits (Viechtbauer 2007, "
        "Stat. Med. 26, 37-52).",
    ]
    tau2_lower: float
    tau2_upper: float
    i2: Annotated[
        float,
        "Share of the variation that is between studies and not sampling (Higgins & Thompson 2002, Stat. Med. 21, "
        "1539-1558), 0 to 1.",
    ]
    q: Annotated[float, "Cochran's Q."]
    log_likelihood: Annotated[float, "Restricted, at its greatest."]
    studies: int

    @property
    def careful_se(self) -> FloatArray:
        """The larger of both standard errors.

        Where the effects lie closer together than their errors let one expect, that is luck, and the interval must not
        be the narrower for it (Knapp & Hartung 2003, Stat. Med. 22, 2693-2710; Jackson et al. 2017, Stat. Med. 36,
        3923-3934).
        """
        return np.asarray(np.maximum(self.se, self.model_se))

    def interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Limits of the first coefficient by t, with `careful_se`."""
        half = float(stdtrit(self.df, (1 + confidence) / 2)) * float(self.careful_se[0])
        return float(self.estimates[0]) - half, float(self.estimates[0]) + half

    def prediction(self, confidence: float = 0.95) -> tuple[float, float] | None:
        """Where the effect of one more study will lie; None with fewer than three.

        By t with one degree of freedom fewer than the interval, for tau2, and variance ``tau2 + careful_se^2``
        (Higgins, Thompson & Spiegelhalter 2009, J. R. Stat. Soc. A).
        """
        if self.df < 2:
            return None
        half = float(stdtrit(self.df - 1, (1 + confidence) / 2) * np.sqrt(self.tau2 + self.careful_se[0] ** 2))
        return float(self.estimates[0]) - half, float(self.estimates[0]) + half

    def common(self, df: float, confidence: float = 0.95) -> tuple[float, float]:
        """Limits by t with given degrees of freedom and `model_se`, as if tau2 were known."""
        half = float(stdtrit(df, (1 + confidence) / 2)) * float(self.model_se[0])
        return float(self.estimates[0]) - half, float(self.estimates[0]) + half

    def p(self) -> FloatArray:
        """Two-sided p of each coefficient by t with `se`, shape (p,)."""
        return np.asarray(2 * stdtr(self.df, -np.abs(self.estimates) / self.se))


def combine(
    effects: FloatArray,
    variances: FloatArray,
    design: FloatArray | None = None,
    *,
    between: bool = True,
    profile: bool = True,
) -> MetaAnalysis:
    """Combine effects by random-effects meta-analysis, or regress them on what is known of the studies.

    Effects have sampling variances above 0; `design`, shape (k, p), has the columns of a regression, a constant alone
    by default. Unless `between`, studies differ by sampling alone and tau2 is zero; unless `profile`, its limits are
    missing.

    Raises
    ------
    NotComputed
        If there are no more studies than coefficients, or columns repeat one another.
    WrongCall
        If a variance is not above 0, or a number is missing.

    Examples
    --------
    >>> found = combine(np.array([2.1, 2.3, 1.2, 2.9]), np.array([0.2, 0.3, 0.2, 0.3]))
    >>> round(float(found.estimates[0]), 3), round(found.tau2, 3), found.df
    (2.079, 0.263, 3)
    """
    y, v = np.asarray(effects, float), np.asarray(variances, float)
    x = np.ones((len(y), 1)) if design is None else np.asarray(design, float)
    k, p = x.shape
    if not (np.isfinite(y).all() and np.isfinite(v).all() and (v > 0).all()):
        raise WrongCall("Every effect needs a number and a sampling variance above 0.")
    if k <= p or np.linalg.matrix_rank(x) < p:
        raise NotComputed(f"{k} studies cannot tell {p} coefficients and how much studies differ.")
    tau2 = _tau2(y, v, x) if between else 0.0
    weights, phi, estimates = _weighted(y, v + tau2, x)
    left = y - x @ estimates
    spread = float(weights @ left**2) / (k - p)
    q = _generalised_q(y, v, x, 0.0)
    typical = (k - p) / _trace(1 / v, x)
    sign, log_information = np.linalg.slogdet(x.T @ (weights[:, None] * x))
    log_likelihood = -0.5 * (
        (k - p) * np.log(2 * np.pi)
        - np.linalg.slogdet(x.T @ x)[1]
        + np.log(v + tau2).sum()
        + sign * log_information
        + weights @ left**2
    )
    lower = upper = np.nan
    if profile:
        lower, upper = (_tau2_at(y, v, x, float(chdtri(k - p, tail))) for tail in (0.025, 0.975))
    model_se = np.sqrt(np.diagonal(phi))
    return MetaAnalysis(
        estimates=estimates,
        se=model_se * np.sqrt(spread),
        model_se=model_se,
        df=k - p,
        tau2=tau2,
        tau2_lower=lower,
        tau2_upper=upper,
        i2=float(tau2 / (tau2 + typical)),
        q=q,
        log_likelihood=float(log_likelihood),
        studies=k,
    )


def _weighted(y: FloatArray, total: FloatArray, x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Weights, (X'WX)^-1 and coefficients."""
    weights = 1 / total
    phi = np.asarray(np.linalg.inv(x.T @ (weights[:, None] * x)), float)
    return weights, phi, np.asarray(phi @ (x.T @ (weights * y)))


def _trace(weights: FloatArray, x: FloatArray) -> float:
    """Trace of ``P = W - W X (X'WX)^-1 X'W``."""
    inner = x.T @ (weights[:, None] * x)
    return float(weights.sum() - np.trace(np.linalg.solve(inner, x.T @ (weights[:, None] ** 2 * x))))


def _tau2(y: FloatArray, v: FloatArray, x: FloatArray) -> float:
    """Where the restricted score, ``(y'PPy - tr P) / 2``, is nil; zero where it falls from there on."""

    def score(tau2: float) -> float:
        weights, _, estimates = _weighted(y, v + tau2, x)
        return float(((weights * (y - x @ estimates)) ** 2).sum() - _trace(weights, x))

    if score(0.0) <= 0:
        return 0.0
    return _crossing(score, y, v)


def _generalised_q(y: FloatArray, v: FloatArray, x: FloatArray, tau2: float) -> float:
    weights, _, estimates = _weighted(y, v + tau2, x)
    return float(weights @ (y - x @ estimates) ** 2)


def _tau2_at(y: FloatArray, v: FloatArray, x: FloatArray, quantile: float) -> float:
    """Variance between studies at which the generalised Q is a quantile; it falls as that grows."""

    def above(tau2: float) -> float:
        return _generalised_q(y, v, x, tau2) - quantile

    return _crossing(above, y, v) if above(0.0) > 0 else 0.0


def _crossing(falls: Callable[[float], float], y: FloatArray, v: FloatArray) -> float:
    """Find where a function that is above zero at zero passes it."""
    high = float(np.var(y) + v.max())
    limit = FARTHEST * high
    while falls(high) > 0 and high < limit:
        high *= 4
    return float(brentq(falls, 0.0, high, xtol=1e-14 * high, rtol=1e-14))
