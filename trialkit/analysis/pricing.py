"""What a bucket of each candidate costs and yields, in money where lettuce has a price."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.documents.decision import Uncounted, ValueUnit
from trialkit.domain.arrays import FloatArray
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.domain.units import TEASPOON_ML
from trialkit.protocol.trial_protocol import Protocol


@dataclass(frozen=True)
class Prices:
    """What each candidate is worth and costs, in the decision's unit.

    Attributes
    ----------
    unit : str
        ``"g per transplanted head"``, or ``"currency a bucket"`` where the protocol has a price of lettuce.
    per_gram : float
        Worth of one gram a transplanted head.
    cost : ndarray, shape (candidates,)
        Of a bucket, waiting left aside.
    per_day : float
        Cost of a day until harvest.
    uncounted : tuple of str
        Costs that are not known.
    """

    unit: ValueUnit
    per_gram: float
    cost: FloatArray
    per_day: float
    uncounted: tuple[Uncounted, ...]


@dataclass(frozen=True)
class _Inputs:
    """Cost of what goes into a bucket of each candidate; None where a price or an amount is not known."""

    nutrient: FloatArray | None
    acid: FloatArray | None


def prices(
    protocol: Protocol,
    products: pd.DataFrame,
    solution: pd.DataFrame,
    candidates: pd.DataFrame,
    *,
    days_known: bool,
) -> Prices:
    """Price the candidates: lettuce less nutrient, acid and waiting; without a price of lettuce, grams of head weight.

    Parameters
    ----------
    protocol : Protocol
    products : pandas.DataFrame
        As ``products.csv``.
    solution : pandas.DataFrame
        Records with ``bucket``, its ``acidifier`` and ``acid_tsp``, what was added then.
    candidates : pandas.DataFrame
        Columns of the varied factors, one row a candidate.
    days_known : bool
        Whether days to harvest could be analysed.
    """
    decision, price = protocol.decision, protocol.decision.price_per_kg
    if price is None:
        return Prices("g per transplanted head", 1.0, np.zeros(len(candidates)), 0.0, ())
    inputs = _input_costs(protocol, products, solution, _with_fixed_levels(protocol, candidates))
    cost = np.full(len(candidates), decision.cost_per_bucket)
    for part in (inputs.nutrient, inputs.acid):
        cost = cost if part is None else cost + part
    return Prices(
        "currency a bucket",
        protocol.bucket.heads * price / 1000,
        cost,
        decision.delay_cost_per_day if days_known else 0.0,
        _uncounted(protocol, inputs, days_known=days_known),
    )


def price_per_teaspoon(product: pd.Series) -> float:
    """Price of a level teaspoon: by weight where the grams in one are known, else by volume, else missing."""
    by_weight = float(product["price_per_kg"]) * float(product["grams_per_tsp"]) / 1000
    by_volume = float(product["price_per_l"]) * TEASPOON_ML / 1000
    return by_weight if np.isfinite(by_weight) else by_volume


def _with_fixed_levels(protocol: Protocol, candidates: pd.DataFrame) -> pd.DataFrame:
    """Add the factors that were the same in every bucket."""
    fixed = {FACTOR_COLUMNS[name]: f.levels[0] for name, f in protocol.factors.items() if len(f.levels) == 1}
    return candidates.assign(**{column: level for column, level in fixed.items() if column not in candidates})


def _input_costs(protocol: Protocol, products: pd.DataFrame, solution: pd.DataFrame, full: pd.DataFrame) -> _Inputs:
    """Cost of the nutrient by its dose, and of the acid by what the buckets took of it on average."""
    prices = {str(row["product"]): price_per_teaspoon(row) for _, row in products.iterrows()}
    nutrient = acid = np.zeros(len(full))
    if "dose_tsp" in full:
        factor = protocol.factors["dose"]
        poured = {str(factor.product): 1.0} | factor.parts
        per_tsp = sum(prices.get(name, np.nan) * each for name, each in poured.items())
        nutrient = full["dose_tsp"].to_numpy(float) * per_tsp
    if "acidifier" in full:
        by_bucket = solution.groupby([solution["acidifier"].astype(str), "bucket"])["acid_tsp"].sum(min_count=1)
        amounts = by_bucket.groupby(level=0).mean()
        costs = {str(name): amount * prices.get(str(name), np.nan) for name, amount in amounts.items()}
        costs[NO_PRODUCT] = 0.0
        acid = np.array([costs.get(str(name), np.nan) for name in full["acidifier"]], float)
    return _Inputs(*(part if np.isfinite(part).all() else None for part in (nutrient, acid)))


def _uncounted(protocol: Protocol, inputs: _Inputs, *, days_known: bool) -> tuple[Uncounted, ...]:
    known: dict[Uncounted, bool] = {
        "nutrient": inputs.nutrient is not None,
        "acid": inputs.acid is not None,
        "waiting": days_known or not protocol.decision.delay_cost_per_day,
    }
    return tuple(name for name in known if not known[name])
