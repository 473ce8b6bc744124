"""The model of weights of trialkit.advice written anew and densely: one covariance of buckets and what is asked.

Nothing of trialkit is used. Sources: generalised least squares and prediction by conditioning a multivariate normal
(Searle, Casella & McCulloch 1992, Variance Components, section 7.4); the smoothing spline as a mixed model (Verbyla,
Cullis, Kenward & Welham 1999, Applied Statistics 48, 269-311).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.integrate import quad
from scipy.stats import multivariate_normal

SLOPE, ALONE, LEAST = 40.0, 0.7, 1e-2
"""Standard deviations of the slope, g, unless another is given, and of whole combinations, in that of interactions;
and the share of variance below which directions of interactions are left out."""
OF_SEASONS = {"cultivar": 1.0, "dose": 0.45, "acidifier": 0.8}
"""What seasons do to each factor, in units of their standard deviation."""
FEWEST_GARDENS, LEAST_RANGE = 3, 0.5
"""Of known water or sun, and how far they must lie apart, to have an effect."""
BUCKET, LASTING = "bucket", "lasting"


def departure(s: float, t: float) -> float:
    """Covariance of integrated Brownian motion on 0 to 1 less the straight line fitted to it by least squares."""

    def bent(u: float, at: float) -> float:
        mean, moment = (1 - u) ** 2 / 2, 1 / 3 - u / 2 + u**3 / 6
        return max(at - u, 0.0) - (4 - 6 * at) * mean - (12 * at - 6) * moment

    return float(quad(lambda u: bent(u, s) * bent(u, t), 0, 1, points=sorted({s, t}), epsabs=1e-15, epsrel=1e-13)[0])


MEAN_DEPARTURE = float(quad(lambda s: departure(s, s), 0, 1, epsabs=1e-15, epsrel=1e-12)[0])


@dataclass(frozen=True)
class Part:
    """A covariance that goes with the square of a standard deviation, and with the lasting share or what is left."""

    name: str | None
    matrix: np.ndarray
    lasting: bool | None = None


@dataclass(frozen=True)
class DenseWeights:
    """Buckets weighed and treatments asked about, in one covariance.

    Attributes
    ----------
    weight : ndarray, shape (n,)
    of_heads : ndarray, shape (n,)
        Variance of each weight that comes of its heads.
    parts : tuple of Part
        Over the buckets, then what is asked.
    """

    weight: np.ndarray
    of_heads: np.ndarray
    parts: tuple[Part, ...]

    @classmethod
    def of(
        cls,
        buckets: pd.DataFrame,
        gardens: pd.DataFrame,
        head_variance: float,
        asked: pd.DataFrame,
        names: set[str],
        slope: float = SLOPE,
    ) -> DenseWeights:
        """Build it.

        Parameters
        ----------
        buckets, gardens : pandas.DataFrame
            As `trialkit.advice.gathering.BucketRecords` describes them.
        head_variance : float
        asked : pandas.DataFrame
            ``cultivar``, ``acidifier``, ``dose``; ``site`` of a returning garden, or "" for the average.
        names : set of str
            Standard deviations that the model has.
        slope : float
            Standard deviation of the slope.
        """
        known = buckets[np.isfinite(buckets["weight_g"]) & (buckets["usable"] > 0)]
        rows = pd.concat([known, asked.assign(trial="")], ignore_index=True)
        rows = rows.merge(gardens, on=["trial", "site"], how="left")
        often = gardens.groupby("site")["trial"].nunique()
        parts = tuple(_parts(rows, set(often.index[often > 1]), buckets["dose"].dropna(), names, gardens, slope))
        heads = head_variance / known["usable"].to_numpy(float)
        return cls(known["weight_g"].to_numpy(float), heads, parts)

    def covariance(self, sd: Mapping[str, float]) -> np.ndarray:
        """Covariance of everything, the level left out; buckets' own deviations are in those weighed."""
        found = np.zeros_like(self.parts[0].matrix)
        for part in self.parts:
            share = {None: 1.0, True: sd.get(LASTING, 0.5), False: 1 - sd.get(LASTING, 0.5)}[part.lasting]
            found += share * (1.0 if part.name is None else sd[part.name] ** 2) * part.matrix
        n = len(self.weight)
        found[range(n), range(n)] += sd[BUCKET] ** 2 + self.of_heads
        return found

    def log_likelihood(self, sd: Mapping[str, float]) -> float:
        """Of the weights, the level integrated out with density 1."""
        n = len(self.weight)
        whole = self.covariance(sd)[:n, :n]
        one = np.linalg.solve(whole, np.ones(n))
        level = one @ self.weight / one.sum()
        at = multivariate_normal.logpdf(self.weight, np.full(n, level), whole, allow_singular=False)
        return float(at + 0.5 * np.log(2 * np.pi / one.sum()))

    def asked(self, sd: Mapping[str, float]) -> tuple[np.ndarray, np.ndarray]:
        """Mean and covariance of what is asked about, by conditioning."""
        n = len(self.weight)
        whole = self.covariance(sd)
        solved = np.linalg.solve(whole[:n, :n], np.column_stack([self.weight, np.ones(n), whole[:n, n:]]))
        information = solved[:, 1].sum()
        level = solved[:, 0].sum() / information
        gain = solved[:, 2:].T
        short = 1 - gain.sum(1)
        mean = level + gain @ (self.weight - level)
        return mean, whole[n:, n:] - gain @ whole[:n, n:] + np.outer(short, short) / information


def _same(column: pd.Series) -> np.ndarray:
    values = column.to_numpy()
    known = column.notna().to_numpy() & (values != "")
    return np.asarray(values[:, None] == values[None, :], float) * np.outer(known, known)


def _about(gardens: pd.DataFrame, rows: pd.DataFrame, column: str, usual: float, step: float) -> np.ndarray | None:
    """Water or sun by row, centred and scaled, 0 where not known; None where gardens do not differ enough."""
    known = gardens[column].dropna().to_numpy(float) / step
    if len(known) < FEWEST_GARDENS or known.max() - known.min() <= LEAST_RANGE:
        return None
    return np.nan_to_num((rows[column].to_numpy(float) - usual) / step)


def _parts(
    rows: pd.DataFrame, returning: set[str], tried: pd.Series, names: set[str], gardens: pd.DataFrame, slope: float
) -> Iterator[Part]:
    trial, site = _same(rows["trial"]), _same(rows["site"])
    factors: dict[str, np.ndarray] = {}
    bent: np.ndarray | None = None
    if "cultivar" in names:
        factors["cultivar"] = _same(rows["cultivar"])
    if tried.nunique() > 1:
        unit = (rows["dose"].to_numpy(float) - tried.min()) / (tried.max() - tried.min())
        line = (unit - 0.5) * np.sqrt(12)
        levels, place = np.unique(np.r_[unit, (tried - tried.min()) / (tried.max() - tried.min())], return_inverse=True)
        place = place[: len(unit)]
        curve = np.array([[departure(s, t) for t in levels] for s in levels]) / MEAN_DEPARTURE
        factors["dose"] = np.outer(line, line)
        yield Part(None, slope**2 * factors["dose"])
        yield Part("curve", curve[np.ix_(place, place)])
        value, vector = np.linalg.eigh(curve)
        kept = value > LEAST * value[-1]
        few = (vector[:, kept] * value[kept]) @ vector[:, kept].T
        bent = factors["dose"] + few[np.ix_(place, place)]
    if "acidifier" in names:
        factors["acidifier"] = _same(rows["acidifier"])
    effects = [factors[name] for name in ("cultivar", "acidifier") if name in factors]
    for name in ("cultivar", "acidifier"):
        if name in factors:
            yield Part(name, factors[name])
    if bent is not None:
        for levels in effects:
            yield Part("interaction", levels * bent)
    if len(effects) == 2:
        yield Part("interaction", effects[0] * effects[1])
    if len(factors) > 1:
        cell = np.prod([*effects, _same(rows["dose"])] if bent is not None else effects, axis=0)
        yield Part("interaction", ALONE**2 * cell)
    water, sun = _about(gardens, rows, "alkalinity", 90, 60), _about(gardens, rows, "sun_hours", 6, 2)
    if water is not None and "acidifier" in factors:
        yield Part("surroundings", factors["acidifier"] * np.outer(water, water))
    if sun is not None:
        for name in ("cultivar", "dose"):
            if name in factors:
                yield Part("surroundings", factors[name] * np.outer(sun, sun))
    kinds = set(gardens["kind"].dropna()) - {""}
    if len(kinds) > 1:
        for matrix in factors.values():
            yield Part("surroundings", matrix * _same(rows["kind"].fillna("")))
    back = rows["site"].isin(returning).to_numpy()
    back = np.outer(back, back)
    for name, matrix in {"": np.ones_like(site), **factors}.items():
        own = f"garden_{name}" if name else "garden"
        yield Part(own, matrix * site * trial * ~back)
        if back.any():
            yield Part(own, matrix * site * back, lasting=True)
            yield Part(own, matrix * site * trial * back, lasting=False)
        if name:
            yield Part("season", OF_SEASONS[name] ** 2 * matrix * trial)
    if gardens["trial"].nunique() > 1:
        yield Part("season_level", trial)
    for name, within in (("block", ["block"]), ("whole_plot", ["block", "whole_plot"])):
        if name in names:
            weighed = np.outer(rows["trial"] != "", rows["trial"] != "")
            for column in within:
                weighed = weighed & (rows[column].to_numpy()[:, None] == rows[column].to_numpy()[None, :])
            yield Part(name, site * trial * weighed)
