"""Predicted effects and fitted values at given standard deviations, against lme4 (tests/reference/advice/from_r.R)."""

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtr, ndtri

from advice_data import expected, records
from trialkit.advice.elimination import eliminate
from trialkit.advice.gathering import BucketRecords, gather
from trialkit.advice.priors import SLOPE_G, WEIGHT_G
from trialkit.advice.weights import WeightModel

NOTHING = -6.0
"""Score of a standard deviation that lme4's model does not have."""


def scores(model: WeightModel, sd: dict[str, float]) -> np.ndarray:
    """Scores at which the standard deviations are these, the others next to nothing."""
    found = {name: -ndtri(2 * ndtr(-sd[name] / WEIGHT_G[name])) for name in sd if name in WEIGHT_G}
    found["lasting"] = ndtri(sd.get("lasting", 0.5))
    return np.array([[found.get(name, NOTHING) for name in model.names]])


def fitted(model: WeightModel, at: np.ndarray) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Effects by name, and means of treatments in each garden."""
    sd = model.by_name(at)
    gathered = model.gathered
    told = gathered.told(sd["bucket"], [sd[name] for name in gathered.local])
    found = eliminate(told, model.floors(sd), back=True)
    names, effects = np.array(gathered.terms.names), gathered.directions @ found.mean[0]
    assert found.treatments is not None
    return {name: effects[names == name] for name in dict.fromkeys(names)}, found.treatments[0]


def test_oats() -> None:
    """A split plot: blocks as gardens with slopes of their own, whole plots, varieties and a slope of nitrogen."""
    case = expected("predicted_effects")["oats"]
    assert case["sd"]["slope"] == SLOPE_G
    told = records("oats")
    buckets = told.buckets.assign(site=told.buckets["block"], block="")
    gardens = buckets[["trial", "site"]].drop_duplicates().assign(alkalinity=np.nan, sun_hours=np.nan, kind="")
    gathered = gather(BucketRecords(buckets, gardens))
    model = WeightModel(gathered, WEIGHT_G)
    at = scores(model, case["sd"])
    effects, treatments = fitted(model, at)
    assert effects["level"][0] == pytest.approx(case["mean"], rel=1e-7)
    assert effects["slope"][0] == pytest.approx(case["effects"]["one"]["all"], rel=1e-6)
    varieties = [case["effects"]["cultivar"][name] for name in gathered.levels.cultivar]
    np.testing.assert_allclose(effects["cultivar"], varieties, atol=1e-5)
    # lme4's fitted values hold the whole plots too.
    plots = case["effects"]["block:cultivar"]
    whole = [plots[f"{block}:{name}"] for block, name in zip(buckets["site"], buckets["cultivar"], strict=True)]
    rows = buckets.assign(expected=np.array(case["fitted"]) - whole)
    for (_, site), own in zip(gathered.names, treatments, strict=True):
        points = gathered.treatments[0]
        for cultivar, dose, mean in zip(points.cultivar, points.dose, own, strict=True):
            name = gathered.levels.cultivar[cultivar]
            row = rows[(rows["site"] == site) & (rows["cultivar"] == name) & np.isclose(rows["dose"], dose)]
            assert mean == pytest.approx(row["expected"].item(), abs=1e-5)


def test_barley() -> None:
    """Two years at the same six sites: what lasts and what passes, of sites and of varieties at sites."""
    case = expected("predicted_effects")["barley"]
    told = records("barley")
    gathered = gather(told)
    model = WeightModel(gathered, WEIGHT_G)
    effects, treatments = fitted(model, scores(model, case["sd"]))
    sites, varieties = sorted(told.gardens["site"].unique()), gathered.levels.cultivar
    assert effects["level"][0] == pytest.approx(case["mean"], rel=1e-8)
    found = case["effects"]
    np.testing.assert_allclose(effects["cultivar"], [found["cultivar"][name] for name in varieties], atol=1e-6)
    np.testing.assert_allclose(effects["garden"], [found["site"][name] for name in sites], atol=1e-6)
    pairs = [found["cultivar:site"][f"{name}:{site}"] for site in sites for name in varieties]
    np.testing.assert_allclose(effects["garden_cultivar"], pairs, atol=1e-6)
    # What passes of a variety at a site is one with the plot in lme4: its share of what is left over.
    passing = (1 - case["sd"]["lasting"]) * case["sd"]["garden_cultivar"] ** 2
    share = passing / (passing + case["sd"]["bucket"] ** 2)
    fit = np.array(case["fitted"])
    rows = told.buckets.assign(expected=fit + share * (told.buckets["weight_g"].to_numpy() - fit))
    rows = rows.set_index(["trial", "site", "cultivar"])["expected"]
    keys = pd.MultiIndex.from_tuples([(*name, variety) for name in gathered.names for variety in varieties])
    np.testing.assert_allclose(treatments.ravel(), rows.loc[keys], atol=1e-6)
