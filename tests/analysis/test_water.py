"""Doses as strengths, and each garden's water by its own readings."""

from dataclasses import replace

import pandas as pd
import pytest

from trialkit._resources import resource_folder
from trialkit.analysis.water_chemistry import RecordedWater, ph_climbs, water_of
from trialkit.rules.trial_folder import CheckedTrial, read_trial


@pytest.fixture(scope="module")
def trial() -> CheckedTrial:
    """The bundled autumn trial, whose readings were drawn by charge balance from the stated alkalinities."""
    return read_trial(resource_folder("example_trials") / "autumn_dose")


@pytest.fixture(scope="module")
def water(trial: CheckedTrial) -> RecordedWater:
    """Its chemistry."""
    return water_of(trial)


def test_doses_by_hand(water: RecordedWater) -> None:
    """Four teaspoons of 3 g at 9-12-30 in 20 L: 0.6 g/L, 54 mg/L N, 31.4 P (0.4364 of P2O5), 149 K (0.8301 of K2O).

    One and a half of calcium nitrate, 7.5 g of 15.5 % N and 19 % Ca: 58.1 mg/L N more, and 71.25 Ca.
    """
    dose = next(row for row in water.doses if row.dose_tsp == 4)
    assert dose.grams == 12
    assert dose.n_mg_l == pytest.approx(54 + 58.125)
    assert dose.elements_mg_l["P"] == pytest.approx(72 * 0.4364, rel=1e-3)
    assert dose.elements_mg_l["K"] == pytest.approx(180 * 0.8301, rel=1e-3)
    assert dose.elements_mg_l["Ca"] == pytest.approx(71.25)
    assert [row.ec_ms_cm for row in water.doses] == sorted(row.ec_ms_cm for row in water.doses)


def test_the_truth_of_each_garden_is_found(water: RecordedWater) -> None:
    """48 readings place the alkalinity within 15 % of what they were drawn with, and every interval is narrow."""
    assert [row.site for row in water.sites] == ["FERN", "HARB", "MILL", "STAT"]
    for row in water.sites:
        assert row.effective == pytest.approx(row.stated, rel=0.15)
        assert row.lower < row.effective < row.upper
        assert row.upper / row.lower < 1.3
        assert row.readings == 48


def test_prediction_beside_record(water: RecordedWater) -> None:
    """Fitted means lie within a tenth of what was read, on average over acids and gardens."""
    differences = [row.recorded - row.fitted for row in water.readings]
    assert sum(map(abs, differences)) / len(differences) < 0.1
    assert {row.acidifier for row in water.readings} == {"citric acid", "white vinegar 5 %"}


def test_another_water_than_stated_is_seen(trial: CheckedTrial) -> None:
    """A garden that states a third of its alkalinity: the readings say what it is."""
    sites = trial.sites.copy()
    sites.loc[sites["site"] == "HARB", "alkalinity_mg_l_caco3"] = 80.0
    row = next(row for row in water_of(replace(trial, sites=sites)).sites if row.site == "HARB")
    assert row.effective == pytest.approx(240, rel=0.15)
    assert row.lower > row.stated


def test_without_records_or_products_nothing_is_made_up(trial: CheckedTrial) -> None:
    """No readings: no waters; no product: no strengths; one reading: a reason instead of a number."""
    empty = water_of(replace(trial, solution=trial.solution.iloc[:0], products=trial.products.iloc[:0]))
    assert empty == RecordedWater(None, (), (), (), ())
    first = trial.solution[trial.solution["acid_tsp"] > 0].iloc[:1]
    (row,) = water_of(replace(trial, solution=first)).sites
    assert row.effective is None
    assert row.not_estimated == "too_few_readings"


def test_a_meter_is_not_read_as_a_strip(trial: CheckedTrial) -> None:
    """Readings to the tenth give a narrower interval than the same truth read in halves."""
    halves = next(row for row in water_of(trial).sites if row.site == "MILL")
    solution = trial.solution.copy()
    solution["ph_after"] = (solution["ph_after"] + pd.Series(range(len(solution))).mod(3) / 10 - 0.1).round(1)
    tenths = next(row for row in water_of(replace(trial, solution=solution)).sites if row.site == "MILL")
    assert tenths.upper / tenths.lower < halves.upper / halves.lower * 1.05


def test_how_fast_ph_came_back() -> None:
    """Of each bucket its climbs over its days, then the mean; t of 2 degrees of freedom at 95 % is 4.302653.

    A, B and C climb 0.2, 0.3 and 0.1 a day, A in two readings of which the second is before more acid; D got no acid.
    """
    rows = [
        ("A", "2026-09-01", 4.0, 3.0, 7.5, 6.0),
        ("A", "2026-09-03", None, None, None, 6.5),
        ("A", "2026-09-08", None, 1.0, 7.4, 6.0),
        ("B", "2026-09-01", 4.0, 3.0, 7.5, 6.0),
        ("B", "2026-09-05", None, None, 7.2, None),
        ("C", "2026-09-01", 4.0, 3.0, 7.5, 6.0),
        ("C", "2026-09-11", None, None, 7.0, None),
        ("D", "2026-09-01", 4.0, 0.0, 7.5, 7.5),
        ("D", "2026-09-08", None, None, 8.0, None),
    ]
    columns = ["bucket", "measured_on", "nutrient_tsp", "acid_tsp", "ph_before", "ph_after"]
    solution = pd.DataFrame(rows, columns=columns).astype({"nutrient_tsp": float, "acid_tsp": float})
    solution["measured_on"] = pd.to_datetime(solution["measured_on"])
    layout = pd.DataFrame({"bucket": list("ABCD"), "site": "FERN"})
    (found,) = ph_climbs(solution, layout)
    assert (found.site, found.buckets, found.readings) == ("FERN", 3, 4)
    assert found.days == pytest.approx((2 + 5 + 4 + 10) / 4)
    assert found.ph_per_day == pytest.approx(0.2)
    half = 4.302653 * 0.1 / 3**0.5
    assert (found.lower, found.upper) == (pytest.approx(0.2 - half), pytest.approx(0.2 + half))
    (one,) = ph_climbs(solution[solution["bucket"] == "B"], layout)
    assert (one.ph_per_day, one.lower) == (pytest.approx(0.3), None)
    assert list(ph_climbs(solution[solution["bucket"] == "D"], layout)) == []
