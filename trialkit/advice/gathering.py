"""Records of buckets, gathered by trial and garden into the small matrices that the model asks for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from trialkit.advice.elimination import Part, Told, parts_of
from trialkit.advice.terms import NO_KIND, Points, Terms, scale_of
from trialkit.domain.arrays import BoolArray, FloatArray, IntArray
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS

USUAL_ALKALINITY, ALKALINITY_STEP = 90.0, 60.0
USUAL_SUN, SUN_STEP = 6.0, 2.0
"""A garden in the middle of the county's, and what counts as a large difference (common practice, no source)."""
LEAST_RANGE = 0.5
"""Of those differences, below which water or sun do not differ enough to tell what they do."""
LOCAL = ("block", "whole_plot")
"""Local groupings, each within the one before."""

ROUNDING_VARIANCE = 1 / 12
"""Of what is told in whole grams, or days (Sheppard 1898): no closer are like buckets known to agree, whatever they
are recorded as. Were weights that all say the same taken at their word, buckets would not vary at all, and everything
else would be certain."""


@dataclass(frozen=True)
class BucketRecords:
    """What buckets of one or more trials gave.

    Attributes
    ----------
    buckets : pandas.DataFrame
        ``trial``, ``site`` (a name that stands for the same garden in every trial), ``block`` and ``whole_plot``
        ("" where there is none), ``cultivar``, ``acidifier`` ("" where it plays no part), ``dose`` (missing where it
        plays none), ``recorded`` and ``usable`` heads, ``weight_g`` (mean weight of a usable head; missing where none
        was weighed), ``weighed`` (heads that this is the mean of; all usable ones where it is missing). Where only
        means of a trial are left: ``known_variance`` of the mean, g squared (missing of buckets).
    gardens : pandas.DataFrame
        By ``trial`` and ``site``: ``alkalinity`` (mg/L as calcium carbonate), ``sun_hours``, ``kind``; missing where
        not known.
    head_variance : float
        Of the heads of a bucket, pooled, g squared; 0 where it is not known, and part of the buckets' then.
    days : BucketRecords, optional
        Of the same trials, with days to harvest in place of weights (`trialkit.advice.days_to_harvest.days_records`).
    """

    buckets: pd.DataFrame
    gardens: pd.DataFrame
    head_variance: float = 0.0
    days: BucketRecords | None = None


@dataclass(frozen=True)
class LevelNames:
    """Names of the levels, in the order in which the model counts them."""

    cultivar: tuple[str, ...]
    acidifier: tuple[str, ...]
    kind: tuple[str, ...]

    @classmethod
    def of(cls, rows: pd.DataFrame, sites: pd.DataFrame) -> LevelNames:
        """Those of buckets and gardens."""
        kinds = tuple(name for name in _names(sites["kind"].fillna("")) if name)
        return cls(_names(rows["cultivar"]), _names(rows["acidifier"]), kinds)

    def codes(self, rows: pd.DataFrame) -> tuple[IntArray, IntArray]:
        """Places of the buckets' cultivars and acidifiers among the levels."""
        return _codes(rows["cultivar"], self.cultivar), _codes(rows["acidifier"], self.acidifier)

    def points(self, cultivar: Sequence[str], acidifier: Sequence[str], dose: FloatArray) -> Points:
        """Treatments in an average garden."""
        return Points.of(
            np.array([self.cultivar.index(one) for one in cultivar], np.intp),
            np.array([self.acidifier.index(one) for one in acidifier], np.intp),
            np.nan_to_num(np.asarray(dose, float)),
        )


@dataclass(frozen=True)
class Gathered:
    """BucketRecords as the model asks for them; ``sites`` are gardens in a trial, ``k`` the most treatments of a trial.

    Attributes
    ----------
    levels : LevelNames
    terms : Terms
    treatments : tuple of Points
        Those of each trial.
    trial : ndarray of int, shape (sites,)
    directions : ndarray, shape (columns of the terms, p)
        In which the records tell effects apart.
    effects : tuple of str
        Group of each direction.
    design : ndarray, shape (sites, k, p)
    returns : ndarray of bool, shape (sites,)
        Whether the garden took part in another trial too.
    practice : mapping of str to ndarray, shape (trials, k, k)
        Covariances by factor of what gardens and seasons do.
    shared : ndarray, shape (trials, k, k)
        One between treatments that a trial has.
    gram : ndarray, shape (classes, sites, k + places + 1, ...)
        Cross products of treatments, local places and weights, by how many heads a bucket's weight is the mean of.
    heads, known_variance, count : ndarray, shape (classes,)
        Those numbers of heads, the variance of means that is stated (0 of buckets), and how many rows have them.
    place : ndarray of int, shape (places,)
        Which local standard deviation each place has: 0 blocks, 1 whole plots.
    usable, recorded : ndarray, shape (sites, k)
        Heads.
    local : tuple of str
        Local groupings that there are.
    names : tuple of (str, str)
        Trial and garden of each of the sites.
    returning : tuple of str
        Gardens that took part in more than one trial.
    """

    levels: LevelNames
    terms: Terms
    treatments: tuple[Points, ...]
    trial: IntArray
    directions: FloatArray
    effects: tuple[str, ...]
    design: FloatArray
    returns: BoolArray
    practice: Mapping[str, FloatArray]
    shared: FloatArray
    gram: FloatArray
    heads: FloatArray
    known_variance: FloatArray
    count: FloatArray
    place: IntArray
    usable: FloatArray
    recorded: FloatArray
    local: tuple[str, ...]
    names: tuple[tuple[str, str], ...]
    returning: tuple[str, ...]
    weighed: int
    head_variance: float

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """What each trial has of the design."""
        return parts_of(self.trial, self.design)

    def asked(self, points: Points, garden: IntArray | None = None) -> tuple[FloatArray, dict[str, FloatArray]]:
        """Directions of treatments, shape (n, p), and what they have of each group beside these."""
        columns = self.terms.columns(points, garden)
        return columns @ self.directions, self.terms.left(columns, self.directions)

    def told(self, bucket: FloatArray, places: Sequence[FloatArray]) -> Told:
        """What weights tell of treatments, given standard deviations (each of shape (m,)) of buckets and places."""
        k = self.design.shape[1]
        of_buckets = np.maximum(bucket[:, None] ** 2 + self.head_variance / self.heads, ROUNDING_VARIANCE / self.heads)
        variance = np.where(self.known_variance > 0, self.known_variance, of_buckets)
        gram = np.tensordot(1 / variance, self.gram, 1)
        spread = np.array(places).T[:, self.place] if len(self.place) else np.zeros((len(bucket), 0))
        inside = gram[:, :, k:-1, k:-1] * spread[:, None, :, None] * spread[:, None, None, :]
        inside = np.eye(len(self.place)) + inside
        keep = np.r_[0:k, gram.shape[-1] - 1]
        across = gram[:, :, keep, k:-1] * spread[:, None, None, :]
        left = gram[:, :, keep[:, None], keep] - across @ np.linalg.solve(inside, across.swapaxes(2, 3))
        logs = np.linalg.slogdet(inside)[1].sum(1) + np.log(variance) @ self.count
        return Told(left[..., :k, :k], left[..., :k, k], left[..., k, k].sum(1), logs)


def fewer_trials(records: BucketRecords, most: int) -> BucketRecords | None:
    """Some of very many trials, evenly from first to last; None where there are no more than the most wanted."""
    trials = records.buckets["trial"].unique()
    if len(trials) <= most:
        return None
    some = trials[np.linspace(0, len(trials) - 1, most).round().astype(int)]
    return replace(records, buckets=records.buckets[records.buckets["trial"].isin(some)])


def gather(records: BucketRecords, asked: Sequence[float] = (), like: Gathered | None = None) -> Gathered:
    """Gather records.

    Parameters
    ----------
    records : BucketRecords
    asked : sequence of float
        Further strengths of the solution that will be asked about, within the range tried.
    like : Gathered, optional
        Gathered before, with every level and garden that these records know: they are then told by the same effects,
        so that what they tell adds to what it told.
    """
    rows = records.buckets.sort_values(["trial", "site"], kind="stable").reset_index(drop=True)
    sites = rows[["trial", "site"]].drop_duplicates().merge(records.gardens, on=["trial", "site"], how="left")
    levels = like.levels if like else LevelNames.of(rows, sites)
    known_gardens = like.returning if like else _returning(sites)
    about = _About.of(sites, levels.kind, known_gardens)
    terms = like.terms if like else _terms(rows, levels, about, asked)
    dose = rows["dose"].to_numpy(float)
    strength = np.nan_to_num(dose) if terms.scale else np.zeros(len(rows))
    coded = np.column_stack([*levels.codes(rows), strength])
    trial, _ = pd.factorize(sites["trial"])
    site = rows.groupby(["trial", "site"], sort=False).ngroup().to_numpy()
    treatments, treatment = _treatments(coded, trial[site])
    k = max(map(len, treatments))
    design = _design(terms, treatments, trial, about, k)
    directions = like.directions if like else terms.reduce(design)
    weight, usable, recorded = (rows[name].to_numpy(float) for name in ("weight_g", "usable", "recorded"))
    known = np.isfinite(weight) & (usable > 0)
    stated = rows["known_variance"].to_numpy(float) if "known_variance" in rows else np.full(len(rows), np.nan)
    weighed = rows["weighed"].fillna(rows["usable"]).to_numpy(float) if "weighed" in rows else usable
    kinds = np.column_stack([weighed if records.head_variance else np.ones(len(rows)), np.nan_to_num(stated)])[known]
    (heads, variance), which = _distinct(kinds)
    local = _local(rows[known], site[known])
    place, wide = _wide(treatment[known], local, weight[known], k)
    gram = _grams(wide, site[known], which, (len(heads), len(sites)))
    return Gathered(
        levels=levels,
        terms=terms,
        treatments=treatments,
        trial=trial.astype(np.intp),
        directions=directions,
        effects=terms.reduced_names(directions),
        design=design @ directions,
        returns=about.returning >= 0,
        practice={
            name: _square(treatments, [terms.practice(own)[name] for own in treatments], k)
            for name in terms.practice(treatments[0])
        },
        shared=_square(treatments, [np.ones((len(own), len(own))) for own in treatments], k),
        gram=gram,
        heads=heads,
        known_variance=variance,
        count=np.bincount(which, minlength=len(heads)).astype(float),
        place=place,
        usable=_added(np.where(recorded > 0, usable, 0.0), site, treatment, (len(sites), k)),
        recorded=_added(recorded, site, treatment, (len(sites), k)),
        local=tuple(name for name, _ in local),
        names=tuple(sites[["trial", "site"]].itertuples(index=False, name=None)),
        returning=known_gardens,
        weighed=int(known.sum()),
        head_variance=records.head_variance,
    )


@dataclass(frozen=True)
class _About:
    """What is known of each garden in a trial: its water and sun, scaled; its kind and place among returning ones."""

    water: FloatArray
    sun: FloatArray
    kind: IntArray
    returning: IntArray

    @classmethod
    def of(cls, sites: pd.DataFrame, kinds: tuple[str, ...], returning: tuple[str, ...]) -> _About:
        back = {name: i for i, name in enumerate(returning)}
        return cls(
            (sites["alkalinity"].to_numpy(float) - USUAL_ALKALINITY) / ALKALINITY_STEP,
            (sites["sun_hours"].to_numpy(float) - USUAL_SUN) / SUN_STEP,
            np.array([kinds.index(one) if one in kinds else NO_KIND for one in sites["kind"]], np.intp),
            np.array([back.get(name, -1) for name in sites["site"]], np.intp),
        )


def _returning(sites: pd.DataFrame) -> tuple[str, ...]:
    seen = sites["site"].value_counts()
    return tuple(sorted(map(str, seen.index[seen > 1])))


def _terms(rows: pd.DataFrame, levels: LevelNames, about: _About, asked: Sequence[float]) -> Terms:
    """Which effects the records could tell."""
    dose = rows["dose"].to_numpy(float)
    tried = np.unique(dose[np.isfinite(dose)])
    scale = scale_of(tried.tolist()) if len(tried) else None
    doses = np.unique(np.r_[tried, list(asked)]) if scale else np.zeros(1)
    strength = np.nan_to_num(dose) if scale else np.zeros(len(rows))
    cells = np.unique(np.column_stack([*levels.codes(rows), strength]), axis=0)
    cells[:, 2] = np.abs(doses[None, :] - cells[:, 2:]).argmin(1)
    return Terms(
        cultivars=len(levels.cultivar),
        acidifiers=len(levels.acidifier),
        kinds=len(levels.kind),
        scale=scale,
        doses=doses,
        cells=cells.astype(np.intp),
        returning=int(about.returning.max(initial=-1)) + 1,
        water=_differ(about.water),
        sun=_differ(about.sun),
    )


def _distinct(kinds: FloatArray) -> tuple[FloatArray, IntArray]:
    """Distinct rows as columns, and which each row is."""
    found, which = np.unique(kinds, axis=0, return_inverse=True)
    return found.T, which.ravel()


def _names(column: pd.Series) -> tuple[str, ...]:
    return tuple(sorted(map(str, column.unique())))


def _codes(column: pd.Series, names: tuple[str, ...]) -> IntArray:
    return np.asarray(column.astype(str).map({name: i for i, name in enumerate(names)}), np.intp)


def _differ(values: FloatArray) -> bool:
    known = values[np.isfinite(values)]
    return len(known) >= FEWEST_RANDOM_LEVELS and float(np.ptp(known)) > LEAST_RANGE


def _treatments(coded: FloatArray, trial: IntArray) -> tuple[tuple[Points, ...], IntArray]:
    """Distinct treatments of each trial, and the place of each row's among its trial's; rows stand trial by trial."""
    found, place = [], []
    for rows in np.split(coded, np.flatnonzero(np.diff(trial)) + 1):
        own, codes = np.unique(rows, axis=0, return_inverse=True)
        place.append(codes.ravel())
        found.append(Points.of(own[:, 0].astype(np.intp), own[:, 1].astype(np.intp), own[:, 2]))
    return tuple(found), np.concatenate(place)


def _design(terms: Terms, treatments: Sequence[Points], trial: IntArray, about: _About, k: int) -> FloatArray:
    count = np.array([len(treatments[t]) for t in trial])
    # Every treatment of every garden, one after the other.
    cultivar, acidifier, dose = (
        np.concatenate([getattr(treatments[t], name) for t in trial]) for name in ("cultivar", "acidifier", "dose")
    )
    site = np.repeat(np.arange(len(trial)), count)
    water, sun = np.nan_to_num(about.water), np.nan_to_num(about.sun)
    points = Points(cultivar, acidifier, dose, water[site], sun[site], about.kind[site])
    found = np.zeros((len(trial), k, len(terms.names)))
    found[np.arange(k) < count[:, None]] = terms.columns(points, about.returning[site])
    return found


def _square(treatments: Sequence[Points], covariances: Sequence[FloatArray], k: int) -> FloatArray:
    """Covariances of each trial's treatments, filled up with zeros."""
    found = np.zeros((len(treatments), k, k))
    for t, covariance in enumerate(covariances):
        found[t, : len(covariance), : len(covariance)] = covariance
    return found


def _local(rows: pd.DataFrame, site: IntArray) -> list[tuple[str, IntArray]]:
    """Local groupings that say something, with the place of each row among those of its garden."""
    found: list[tuple[str, IntArray]] = []
    label = site
    for name in LOCAL:
        # Numbered as they first occur. Rows stand garden by garden, so that a garden's labels follow each other.
        label = _as_met(_joint(label, _as_met(rows[name])))
        first = np.unique(label, return_index=True)[1]
        several = np.bincount(site[first]).max(initial=0) > 1
        coarser = all(len(first) > len(np.unique(_joint(site, other))) for _, other in found)
        if several and len(first) < len(label) and coarser:
            start = np.full(site.max() + 1, len(label))
            np.minimum.at(start, site, label)
            found.append((name, label - start[site]))
    return found


def _as_met(values: pd.Series | IntArray) -> IntArray:
    return np.asarray(pd.factorize(values, use_na_sentinel=False)[0], np.intp)


def _joint(one: IntArray, other: IntArray) -> IntArray:
    return np.asarray(one * (other.max(initial=0) + 1) + other, np.intp)


def _wide(
    treatment: IntArray, local: Sequence[tuple[str, IntArray]], weight: FloatArray, k: int
) -> tuple[IntArray, FloatArray]:
    """Rows as columns of treatments, local places and weight; and which local grouping each place is of."""
    sizes = [int(code.max()) + 1 for _, code in local]
    place = np.repeat(np.arange(len(local)), sizes).astype(np.intp)
    wide = np.zeros((len(weight), k + len(place) + 1))
    rows, start = np.arange(len(weight)), k
    wide[rows, treatment] = 1.0
    for (_, code), size in zip(local, sizes, strict=True):
        wide[rows, start + code] = 1.0
        start += size
    wide[:, -1] = weight
    return place, wide


def _grams(wide: FloatArray, site: IntArray, heads: IntArray, shape: tuple[int, int]) -> FloatArray:
    """Cross products of the rows of each garden, by number of heads: shape (classes, sites, columns, columns)."""
    found = np.zeros((*shape, wide.shape[1], wide.shape[1]))
    order = np.lexsort((site, heads))
    key = heads[order] * shape[1] + site[order]
    for own in np.split(order, np.flatnonzero(np.diff(key)) + 1):
        if len(own):
            found[heads[own[0]], site[own[0]]] = wide[own].T @ wide[own]
    return found


def _added(values: FloatArray, site: IntArray, treatment: IntArray, shape: tuple[int, int]) -> FloatArray:
    found = np.zeros(shape)
    np.add.at(found, (site, treatment), values)
    return found
