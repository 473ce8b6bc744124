"""What a bucket costs and yields, worked out by hand."""

from typing import Any

import numpy as np
import pandas as pd
import pytest

from trialkit.analysis.pricing import Prices, price_per_teaspoon, prices
from trialkit.protocol.trial_protocol import Protocol, parse_protocol

PROTOCOL = """\
[trial]
id = "prices"
title = "Prices"
question = "Which?"
[bucket]
heads = 4
[factors.cultivar]
levels = ["Fenleaf", "Paleheart"]
[factors.dose]
levels = [2, 4]
product = "Blend"
[factors.acidifier]
levels = ["vinegar", "none"]
[layout]
kind = "randomised complete blocks"
blocks = 2
seed = 1
[decision]
current_practice = {{ cultivar = "Fenleaf", dose = 4, acidifier = "vinegar" }}
{extra}
"""
NAN = float("nan")
PRODUCTS = pd.DataFrame(
    [("Blend", 12.0, 5.0, NAN), ("vinegar", NAN, NAN, 1.5)],
    columns=["product", "price_per_kg", "grams_per_tsp", "price_per_l"],
)
SOLUTION = pd.DataFrame(
    [("a", "vinegar", 2.0), ("b", "vinegar", 3.0), ("b", "vinegar", 3.0), ("c", "vinegar", 1.0), ("d", "none", NAN)],
    columns=["bucket", "acidifier", "acid_tsp"],
)
CANDIDATES = pd.DataFrame(
    [("Fenleaf", 4.0, "vinegar"), ("Fenleaf", 2.0, "vinegar"), ("Paleheart", 2.0, "vinegar"), ("Fenleaf", 4.0, "none")],
    columns=["cultivar", "dose_tsp", "acidifier"],
)


def protocol(extra: str = "") -> Protocol:
    """Return the protocol with further lines in its last section."""
    parsed = parse_protocol(PROTOCOL.format(extra=extra))
    assert isinstance(parsed, Protocol)
    return parsed


def calculate(extra: str = "", *, days_known: bool = True, **changes: Any) -> Prices:
    """Price the four candidates."""
    given: dict[str, Any] = {"products": PRODUCTS, "solution": SOLUTION} | changes
    return prices(protocol(extra), given["products"], given["solution"], CANDIDATES, days_known=days_known)


def test_a_teaspoon_by_weight_and_by_volume() -> None:
    """5 g at 12 a kilogram is 0.06; 4.92892 mL (NIST Handbook 44) at 1.50 a litre is 0.00739; else there is none."""
    blend, vinegar = (PRODUCTS.iloc[i] for i in range(2))
    assert price_per_teaspoon(blend) == pytest.approx(0.06)
    assert price_per_teaspoon(vinegar) == pytest.approx(0.00492892 * 1.5)
    assert np.isnan(price_per_teaspoon(blend.replace(12.0, NAN)))


def test_without_a_price_of_lettuce() -> None:
    """Value is head weight alone, and nothing is said of costs."""
    value = calculate()
    assert (value.unit, value.per_gram, value.per_day) == ("g per transplanted head", 1.0, 0.0)
    assert not value.cost.any()
    assert value.uncounted == ()


def test_in_money() -> None:
    """Four heads at 10 a kilogram are 0.04 a gram; nutrient 0.06 a teaspoon; acid as above.

    Three buckets took 2, 3 + 3 and 1 teaspoons of acid: 3 a bucket on average, not by record, nor the median.
    """
    value = calculate("price_per_kg = 10\ncost_per_bucket = 0.5\ndelay_cost_per_day = 0.02")
    assert value.per_gram == pytest.approx(0.04)
    acid = 3 * 0.00492892 * 1.5
    assert value.cost == pytest.approx([0.5 + 0.24 + acid, 0.5 + 0.12 + acid, 0.5 + 0.12 + acid, 0.5 + 0.24])
    assert value.per_day == 0.02
    assert value.uncounted == ()


def test_every_part_of_a_feed_is_paid_for() -> None:
    """Half a teaspoon of a part of 5 g at 6 a kilogram adds 0.015 to the 0.06 of each teaspoon; unpriced it is told."""
    feed = PROTOCOL.replace('product = "Blend"', 'product = "Blend"\nparts = {{ calcium = 0.5 }}')
    parsed = parse_protocol(feed.format(extra="price_per_kg = 10"))
    shelf = pd.concat([PRODUCTS, pd.DataFrame([("calcium", 6.0, 5.0, NAN)], columns=PRODUCTS.columns)])
    value = prices(parsed, shelf, SOLUTION.iloc[4:], CANDIDATES, days_known=True)
    assert value.cost == pytest.approx([0.3, 0.15, 0.15, 0.3])
    assert "nutrient" in prices(parsed, PRODUCTS, SOLUTION, CANDIDATES, days_known=True).uncounted


def test_an_absent_price_is_told() -> None:
    """A nutrient or an acid without a price is not counted, and that is told."""
    value = calculate("price_per_kg = 10", products=PRODUCTS.assign(price_per_kg=NAN, price_per_l=NAN))
    assert not value.cost.any()
    assert value.uncounted == ("nutrient", "acid")


def test_an_amount_that_was_not_recorded_is_told() -> None:
    """An acid of which no bucket has a record cannot be priced."""
    value = calculate("price_per_kg = 10", solution=SOLUTION.iloc[4:])
    assert value.cost == pytest.approx([0.24, 0.12, 0.12, 0.24])
    assert value.uncounted == ("acid",)


def test_waiting_that_could_not_be_analysed_is_told() -> None:
    """Where days are not known, waiting costs nothing, and that is told."""
    value = calculate("price_per_kg = 10\ndelay_cost_per_day = 0.02", days_known=False)
    assert value.per_day == 0.0
    assert value.uncounted == ("waiting",)


def test_costs_without_a_price_weigh_nothing() -> None:
    """A cost of waiting in a protocol without a price of lettuce is left aside."""
    value = calculate("delay_cost_per_day = 0.02")
    assert (value.per_day, value.uncounted) == (0.0, ())
