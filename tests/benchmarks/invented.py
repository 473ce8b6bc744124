"""Invented trials whose truth is known, and what the simulations in this folder share: they judge with `advise` itself.

Weights of heads are normal: a treatment's true mean, what seasons and gardens do to every treatment and to each factor,
what a garden does every year, buckets and heads. Heads are lost with a treatment's true chance.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from typing import NamedTuple, TypeVar

import numpy as np
import pandas as pd
from scipy.special import expit

from trialkit.advice.gathering import BucketRecords
from trialkit.analysis.advising import Advice, AdviceQuestion, advise
from trialkit.analysis.pricing import Prices
from trialkit.domain.arrays import FloatArray
from trialkit.domain.treatment import Treatment
from trialkit.protocol.sections import DecisionRule

HEADS = 4
WORKERS = 2
ALL_USABLE = 1 - 1e-12
"""Chance of a head where none is lost."""
GRID = np.arange(2.0, 8.01, 0.5)
"""Doses that the kitchen can measure, between the least and the greatest tried, teaspoons."""
CURVES = ("straight", "quadratic", "plateau", "saturation", "corner")
Given, Found = TypeVar("Given"), TypeVar("Found")


class Cell(NamedTuple):
    """A treatment: places of cultivar and acid, and the dose (missing where it plays no part)."""

    cultivar: int
    acidifier: int = -1
    dose: float = np.nan

    @property
    def treatment(self) -> Treatment:
        """As the product names it."""
        dose = None if np.isnan(self.dose) else float(self.dose)
        return Treatment(f"C{self.cultivar}", dose, None if self.acidifier < 0 else f"A{self.acidifier}")

    @classmethod
    def of(cls, treatment: Treatment) -> Cell:
        """From the product's name of it."""
        dose, acid = treatment.dose_tsp, treatment.acidifier
        return cls(
            int((treatment.cultivar or "C0")[1:]), int(acid[1:]) if acid else -1, np.nan if dose is None else dose
        )


@dataclass(frozen=True)
class Spreads:
    """Standard deviations, g of the weight of a usable head.

    Attributes
    ----------
    bucket, head, block, garden, season : float
        Between buckets, between the heads of one, and levels of blocks, gardens and seasons.
    garden_by, season_by : float
        What gardens, and seasons, do to each cultivar and acid; a gain from the least dose to the greatest differs as
        one between two cultivars does.
    lasting : float
        What returning gardens do to each every year.
    bucket_logit, garden_logit : float
        Between buckets, and between gardens, of the chance that a head is usable.
    """

    bucket: float = 15.0
    head: float = 20.0
    block: float = 0.0
    garden: float = 12.0
    season: float = 10.0
    garden_by: float = 3.0
    season_by: float = 3.0
    lasting: float = 0.0
    bucket_logit: float = 0.0
    garden_logit: float = 0.0


@dataclass
class Land:
    """Gardens that come back, with what they do every year."""

    rng: np.random.Generator
    spreads: Spreads
    known: dict[str, FloatArray] = field(default_factory=dict)

    def lasting(self, site: str) -> FloatArray:
        """What a garden does every year to cultivars, acids and the slope of dose."""
        if site not in self.known:
            self.known[site] = self.spreads.lasting * self.rng.standard_normal(FACTOR_EFFECTS)
        return self.known[site]


MOST_CULTIVARS, MOST_ACIDS = 8, 2
FACTOR_EFFECTS = MOST_CULTIVARS + MOST_ACIDS + 1


def _of_factors(effects: FloatArray, cells: Sequence[Cell]) -> FloatArray:
    """Sum of what a garden or season does to the parts of each treatment."""
    cultivar = np.array([one.cultivar for one in cells])
    acid = np.array([one.acidifier for one in cells])
    dose = np.array([one.dose for one in cells])
    line = np.nan_to_num((dose - GRID.mean()) / np.ptp(GRID) * np.sqrt(2.0))
    acids = np.where(acid >= 0, effects[MOST_CULTIVARS + np.maximum(acid, 0)], 0.0)
    return np.asarray(effects[cultivar] + acids + effects[-1] * line)


def grown(
    rng: np.random.Generator,
    trial: str,
    sites: Sequence[str],
    blocks: int,
    cells: Sequence[Cell],
    weight: FloatArray,
    share: FloatArray,
    spreads: Spreads,
    land: Land | None = None,
) -> pd.DataFrame:
    """Buckets of one trial, as `BucketRecords` has them, with the sum of squares of heads about their bucket's mean.

    The draws are the same for as many treatments, whichever they are: rules that differ are compared on the same luck.
    """
    k, n = len(cells), len(sites)
    by_season = rng.normal(0, spreads.season) + _of_factors(
        spreads.season_by * rng.standard_normal(FACTOR_EFFECTS), cells
    )
    by_garden = np.empty((n, k))
    for s, site in enumerate(sites):
        own = spreads.garden_by * rng.standard_normal(FACTOR_EFFECTS)
        own = own + (land.lasting(site) if land else 0.0)
        by_garden[s] = rng.normal(0, spreads.garden) + _of_factors(own, cells)
    in_block = spreads.block * rng.standard_normal((n, blocks))
    mean = weight + by_season + by_garden[:, None, :] + in_block[:, :, None]
    mean = mean + spreads.bucket * rng.standard_normal(mean.shape)
    logit = spreads.bucket_logit * rng.standard_normal(mean.shape)
    if spreads.garden_logit:
        logit = logit + spreads.garden_logit * rng.standard_normal((n, 1, 1))
    logit = logit + np.log(share) - np.log1p(-share)
    usable = rng.binomial(HEADS, expit(logit))
    heads = mean[..., None] + spreads.head * rng.standard_normal((*mean.shape, HEADS))
    counted = np.arange(HEADS) < usable[..., None]
    average = np.divide((heads * counted).sum(-1), usable, out=np.full(mean.shape, np.nan), where=usable > 0)
    squares = (((heads - average[..., None]) ** 2) * counted).sum(-1, where=counted)
    garden, block, which = (part.ravel() for part in np.indices(mean.shape))
    return pd.DataFrame(
        {
            "trial": trial,
            "site": np.array(sites)[garden],
            "block": block.astype(str),
            "whole_plot": "",
            "cultivar": [f"C{cells[i].cultivar}" for i in which],
            "acidifier": ["" if cells[i].acidifier < 0 else f"A{cells[i].acidifier}" for i in which],
            "dose": [cells[i].dose for i in which],
            "planned": HEADS,
            "recorded": HEADS,
            "usable": usable.ravel(),
            "weight_g": average.ravel(),
            "squares": squares.ravel(),
            "cell": which,
        }
    )


def mean_share(share: FloatArray, spreads: Spreads) -> FloatArray:
    """Usable share on average over buckets and gardens, where in most it is about this."""
    at, weight = np.polynomial.hermite_e.hermegauss(21)
    sd = np.hypot(spreads.bucket_logit, spreads.garden_logit)
    return np.asarray(expit((np.log(share) - np.log1p(-share))[:, None] + sd * at) @ weight / weight.sum())


def as_records(rows: pd.DataFrame) -> BucketRecords:
    """Records of buckets, with the variance of heads as an analysis pools it."""
    gardens = rows[["trial", "site"]].drop_duplicates().assign(alkalinity=np.nan, sun_hours=np.nan, kind=None)
    df = (rows["usable"] - 1).clip(lower=0).sum()
    return BucketRecords(rows.drop(columns=["squares", "cell"]), gardens, float(rows["squares"].sum() / df))


def advised(rows: pd.DataFrame, practice: Cell, seed: int) -> Advice:
    """Advice of the product on these buckets, by a protocol's own rule where it says nothing else."""
    rule = DecisionRule(current_practice={})

    def in_grams(candidates: pd.DataFrame, _: bool) -> Prices:
        return Prices("g per transplanted head", 1.0, np.zeros(len(candidates)), 0.0, ())

    question = AdviceQuestion(
        practice.treatment, float(np.nan_to_num(practice.dose)), 1.0, False, rule, in_grams, (), seed
    )
    advice = advise(as_records(rows), question)
    assert isinstance(advice, Advice), advice
    return advice


def curve(kind: str, shape: float, dose: FloatArray) -> FloatArray:
    """A curve of one kind, from 0 at the least dose to 1 where it is highest on the kitchen's doses."""

    def raw(at: FloatArray) -> FloatArray:
        flat = np.minimum(at, shape)
        found = {
            "straight": at,
            "quadratic": at - at**2 / (2 * shape),
            "plateau": flat - flat**2 / (2 * shape),
            "saturation": 1 - np.exp(-shape * at),
            "corner": flat,
        }
        return np.asarray(found[kind], float)

    whole = raw(GRID)
    return np.asarray((raw(np.asarray(dose, float)) - whole[0]) / (whole.max() - whole[0]))


def shape_of(kind: str, rng: np.random.Generator) -> float:
    """Draw the shape of a curve: a rate of 0.25 to 0.7, or a peak, plateau or corner at 4 to 8 teaspoons."""
    return float(rng.uniform(0.25, 0.7) if kind == "saturation" else rng.uniform(4.0, 8.0))


def run(work: Callable[[Given], Found], jobs: Sequence[Given]) -> list[Found]:
    """Do jobs in order with a few workers, progress told on stderr."""
    found: list[Found] = []
    with ProcessPoolExecutor(WORKERS) as pool:
        for i, one in enumerate(pool.map(work, jobs, chunksize=2), 1):
            found.append(one)
            if i % max(1, len(jobs) // 20) == 0:
                print(f"{i} of {len(jobs)}", file=sys.stderr, flush=True)
    return found


def asked_for(*defaults: int) -> list[int]:
    """Numbers from the command line, or these."""
    given = [int(one) for one in sys.argv[1:]]
    return given + list(defaults[len(given) :])


def yields(rows: pd.DataFrame) -> pd.Series:
    """Weight of a transplanted head, lost ones counting as nothing, of each bucket."""
    return rows["weight_g"].fillna(0.0) * rows["usable"] / rows["recorded"]


def with_error(values: Iterable[float], places: int = 1) -> str:
    """Mean and its Monte-Carlo standard error."""
    known = np.array(list(values), float)
    error = known.std(ddof=1) / np.sqrt(len(known)) if len(known) > 1 else np.nan
    return f"{known.mean():.{places}f} ± {error:.{places}f}"


def share_with_error(hits: FloatArray, of: FloatArray) -> str:
    """Percentage of hits, and its standard error: a ratio over trials, whose claims may go together."""
    hits, of = np.asarray(hits, float), np.asarray(of, float)
    if of.sum() == 0:
        return "none"
    ratio = hits.sum() / of.sum()
    error = np.sqrt(((hits - ratio * of) ** 2).sum()) / of.sum()
    return f"{100 * ratio:.1f} ± {100 * error:.1f}"
