"""The shopping list, worked out by hand for the bundled example: 192 buckets of four heads."""

import pandas as pd
import pytest

from trialkit._resources import resource_folder
from trialkit.documents.plan import ShoppingItem
from trialkit.planning.shopping import shopping_list
from trialkit.rules.trial_folder import Trial, read_trial


@pytest.fixture(scope="module")
def trial() -> Trial:
    """The bundled example."""
    return read_trial(resource_folder("example_trials") / "autumn_dose", stage="layout")


def items(trial: Trial, products: pd.DataFrame | None = None) -> dict[str, ShoppingItem]:
    """Items by what they are, and of which cultivar or product."""
    found = shopping_list(trial.protocol, trial.products if products is None else products, trial.layout)
    return {f"{item.kind} {item.product or ''}".strip(): item for item in found.items}


def test_quantities_by_hand(trial: Trial) -> None:
    """192 buckets, 768 cups; 96 buckets of each cultivar need 423 seedlings from 498 seeds, each in a cube."""
    found = items(trial)
    assert found["bucket"].quantity == 192
    assert found["net cup"].quantity == 768
    assert found["starter cube"].quantity == 996
    assert found["seed Fenleaf"].quantity == 498
    assert found["pH strip"].quantity == 423
    assert found["acidifier white vinegar 5 %"].quantity == 96
    assert found["acidifier white vinegar 5 %"].cost is None


def test_nutrient_by_weight_and_cost(trial: Trial) -> None:
    """48 buckets each of 2, 4, 6 and 8 teaspoons are 960, and a tenth more 1,056; at 3 g and 12 a kilogram.

    Of calcium nitrate 0.375 of a teaspoon goes with each: 396 teaspoons, at 5 g and 6 a kilogram.
    """
    found = items(trial)
    base, calcium = found["nutrient Blend L 9-12-30"], found["nutrient calcium nitrate 15.5-0-0"]
    assert (base.quantity, base.unit) == (3168, "g")
    assert base.cost == pytest.approx(38.016)
    assert (calcium.quantity, calcium.unit) == (1980, "g")
    assert calcium.cost == pytest.approx(11.88)


def test_nutrient_of_unknown_weight(trial: Trial) -> None:
    """Where the grams in a teaspoon are not known, teaspoons are listed, without a cost."""
    nutrient = items(trial, trial.products.assign(grams_per_tsp=float("nan")))["nutrient Blend L 9-12-30"]
    assert (nutrient.quantity, nutrient.unit, nutrient.cost) == (1056, "tsp", None)


def test_a_trial_that_names_no_dose_needs_nutrient_all_the_same(trial: Trial) -> None:
    """Where the protocol says nothing of a dose, the usual one is on the list."""
    factors = {name: factor for name, factor in trial.protocol.factors.items() if name != "dose"}
    found = shopping_list(trial.protocol.model_copy(update={"factors": factors}), trial.products, trial.layout)
    (nutrient,) = [item for item in found.items if item.kind == "nutrient"]
    assert (nutrient.quantity, nutrient.unit) == (192, "bucket")
