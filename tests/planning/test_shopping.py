"""The shopping list, worked out by hand for the bundled example: 192 buckets of four heads."""

import pandas as pd
import pytest

from trialkit._resources import resource_folder
from trialkit.documents.plan import ShoppingItem
from trialkit.planning.shopping import shopping_list
from trialkit.rules.trial_folder import CheckedTrial, read_trial


@pytest.fixture(scope="module")
def trial() -> CheckedTrial:
    """The bundled example."""
    return read_trial(resource_folder("example_trials") / "autumn_dose", stage="layout")


def items(trial: CheckedTrial, products: pd.DataFrame | None = None) -> dict[str, ShoppingItem]:
    """Items by what they are, and of which cultivar or product."""
    shelf = trial.products if products is None else products
    found = shopping_list(trial.protocol, shelf, trial.layout, trial.sites)
    return {f"{item.kind} {item.product or ''}".strip(): item for item in found.items}


def test_quantities_by_hand(trial: CheckedTrial) -> None:
    """192 buckets, 768 cups; 96 buckets of each cultivar need 423 seedlings from 498 seeds, each in a cube."""
    found = items(trial)
    assert found["bucket"].quantity == 192
    assert found["net cup"].quantity == 768
    assert found["starter cube"].quantity == 996
    assert found["seed Fenleaf"].quantity == 498


def test_acid_and_strips_by_water(trial: CheckedTrial) -> None:
    """20 L at 90 mg/L without phosphate take 7¼ teaspoons of vinegar, or 2.5 g of citric acid.

    A tenth more: 96 x 7.25 x 4.92892 mL x 1.1 = 3,774 mL. Strips: one before, one a step (3, and 9 of a tablespoon of
    solution), one after two days and 7 in 49 days, (192 x 9 + 96 x 12) x 1.1.
    """
    waters = trial.sites.assign(alkalinity_mg_l_caco3=90.0, water_ph=7.5)
    shelf = trial.products.assign(p2o5_pct=0.0)
    found = {
        item.product or item.kind: item for item in shopping_list(trial.protocol, shelf, trial.layout, waters).items
    }
    vinegar, citric = found["white vinegar 5 %"], found["citric acid"]
    assert (vinegar.quantity, vinegar.unit) == (3774, "mL")
    assert vinegar.cost == pytest.approx(3.774 * 1.5)
    assert citric.unit == "g"
    assert citric.quantity == pytest.approx(96 * 26 / 48 * 4.6 * 1.1, abs=1)
    assert found["pH strip"].quantity == 3168
    unknown = trial.sites.assign(alkalinity_mg_l_caco3=float("nan"), water_ph=float("nan"))
    listed = shopping_list(trial.protocol, shelf, trial.layout, unknown)
    assert listed.waters_assumed == 4
    assert [one for one in listed.items if one.kind == "acidifier"] == [citric, vinegar]
    bare = items(trial, trial.products.assign(acid_pct_w_v=float("nan")))["acidifier white vinegar 5 %"]
    assert (bare.quantity, bare.unit, bare.cost) == (96, "bucket", None)


def test_nutrient_by_weight_and_cost(trial: CheckedTrial) -> None:
    """48 buckets each of 2, 4, 6 and 8 teaspoons are 960, and a tenth more 1,056; at 3 g and 12 a kilogram.

    Of calcium nitrate 0.375 of a teaspoon goes with each: 396 teaspoons, at 5 g and 6 a kilogram.
    """
    found = items(trial)
    base, calcium = found["nutrient Blend L 9-12-30"], found["nutrient calcium nitrate 15.5-0-0"]
    assert (base.quantity, base.unit) == (3168, "g")
    assert base.cost == pytest.approx(38.016)
    assert (calcium.quantity, calcium.unit) == (1980, "g")
    assert calcium.cost == pytest.approx(11.88)


def test_nutrient_of_unknown_weight(trial: CheckedTrial) -> None:
    """Where the grams in a teaspoon are not known, teaspoons are listed, without a cost."""
    nutrient = items(trial, trial.products.assign(grams_per_tsp=float("nan")))["nutrient Blend L 9-12-30"]
    assert (nutrient.quantity, nutrient.unit, nutrient.cost) == (1056, "tsp", None)


def test_a_trial_that_names_no_dose_needs_nutrient_all_the_same(trial: CheckedTrial) -> None:
    """Where the protocol says nothing of a dose, the usual one is on the list."""
    factors = {name: factor for name, factor in trial.protocol.factors.items() if name != "dose"}
    found = shopping_list(
        trial.protocol.model_copy(update={"factors": factors}), trial.products, trial.layout, trial.sites
    )
    (nutrient,) = [item for item in found.items if item.kind == "nutrient"]
    assert (nutrient.quantity, nutrient.unit) == (192, "bucket")
