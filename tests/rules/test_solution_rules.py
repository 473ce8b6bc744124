"""Rules about what was mixed: as randomised or as a recorded departure, and as chemistry allows."""

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from honest_records import Records, write_records
from trialkit.documents.problems import Problem
from trialkit.rules.trial_folder import Stage, check_trial
from trialkit.words.problem_words import told_problem

Change = Callable[[Records], None]


def only(folder: Path, change: Change) -> Problem:
    """Write records, changed, and return the one problem that they have."""
    write_records(folder, change)
    (problem,) = check_trial(folder).problems
    assert problem.severity == "warning"
    return problem


def row_of(records: Records, acid: bool) -> int:
    """Return the first mixing with or without acid."""
    return int(records.solution.index[(records.solution["acid_tsp"] > 0) == acid][0])


def two_spoons_more(records: Records) -> None:
    """Give the first bucket more than its dose; its conductivity was not measured."""
    records.mix(0, nutrient_tsp=records.solution.at[0, "nutrient_tsp"] + 2, ec_ms_cm=float("nan"))


def test_another_dose_than_randomised(tmp_path: Path) -> None:
    """A bucket that got two spoons more, without a word about it; its conductivity is that of the dose it got."""
    problem = only(tmp_path, two_spoons_more)
    assert (problem.rule, problem.row, problem.column) == ("TK-S01", 2, "nutrient_tsp")


def test_a_departure_that_was_written_down(tmp_path: Path) -> None:
    """A note on one of the bucket's heads excuses nothing; one in the row of the mixing is shown, and accepted."""

    def elsewhere(records: Records) -> None:
        two_spoons_more(records)
        records.heads.loc[1, "note"] = "lovely leaf"

    def in_its_row(records: Records) -> None:
        two_spoons_more(records)
        records.solution["note"] = ""
        records.solution.loc[0, "note"] = "two spoons too many"

    assert only(tmp_path / "elsewhere", elsewhere).rule == "TK-S01"
    problem = only(tmp_path / "in its row", in_its_row)
    assert problem.rule == "TK-S02"
    assert told_problem(problem).expected.endswith('. Its row says "two spoons too many"')


def test_acid_in_a_bucket_that_was_to_have_none(tmp_path: Path) -> None:
    """And none in a bucket that was to have some: both are departures from the layout."""
    problem = only(tmp_path / "unasked", lambda records: records.mix(row_of(records, acid=False), acid_tsp=3.0))
    assert (problem.rule, problem.column) == ("TK-S01", "acid_tsp")
    assert told_problem(problem).expected.startswith("0, as layout.csv")
    problem = only(tmp_path / "forgotten", lambda records: records.mix(row_of(records, acid=True), acid_tsp=0.0))
    assert (problem.rule, told_problem(problem).found) == ("TK-S01", '"0"')


def test_ph_that_rose_with_acid(tmp_path: Path) -> None:
    """Readings exchanged: acid takes carbonate away and cannot raise pH (charge balance)."""
    problem = only(tmp_path, lambda records: records.mix(row_of(records, acid=True), ph_before=6.0, ph_after=7.0))
    assert (problem.rule, problem.column) == ("TK-S03", "ph_after")


def test_conductivity_of_another_dose(tmp_path: Path) -> None:
    """A reading three times that of the other buckets with the dose; top-ups and measurements are not compared."""

    def change(records: Records) -> None:
        records.solution.loc[5, "ec_ms_cm"] *= 3
        later = records.solution.loc[[0]].assign(
            measured_on=pd.Timestamp("2026-09-10"), nutrient_tsp=float("nan"), acid_tsp=float("nan"), ec_ms_cm=0.1
        )
        records.solution = pd.concat([records.solution, later], ignore_index=True)

    problem = only(tmp_path, change)
    assert (problem.rule, problem.row, problem.column) == ("TK-S04", 7, "ec_ms_cm")
    assert "mS/cm, as others with this dose in this garden" in told_problem(problem).expected


def test_measured_after_everything_was_cut(tmp_path: Path) -> None:
    """A measurement after the bucket's last harvest has a wrong date or a wrong bucket, or was mixed out of time."""
    write_records(tmp_path, lambda records: records.mix(2, measured_on=pd.Timestamp("2026-10-04")))
    found = [(problem.rule, problem.row, problem.column) for problem in check_trial(tmp_path).problems]
    assert sorted(found) == [("TK-S01", 4, "measured_on"), ("TK-S05", 4, "measured_on")]


def test_ph_that_chemistry_does_not_make(tmp_path: Path) -> None:
    """Five teaspoons of vinegar take water of 80 mg/L to about 6, not to 4: only the strip that says 4 is told."""
    problem = only(tmp_path, lambda records: records.mix(row_of(records, acid=True), ph_after=4.0))
    assert (problem.rule, problem.column, told_problem(problem).found) == ("TK-S06", "ph_after", '"4"')
    assert "by the water's alkalinity and what was added" in told_problem(problem).expected


def test_a_meter_in_another_unit(tmp_path: Path) -> None:
    """A garden whose meter shows half (parts per million of one scale, in thousands) is told once."""

    def change(records: Records) -> None:
        by_bucket = records.site.set_axis(records.heads["bucket"]).groupby(level=0).first()
        here = records.solution["bucket"].map(by_bucket) == "MILL"
        records.solution.loc[here, "ec_ms_cm"] = (records.solution.loc[here, "ec_ms_cm"] / 2).round(2)

    problem = only(tmp_path, change)
    assert problem.rule == "TK-S07"
    assert "conductivities at MILL of 0." in told_problem(problem).found


def test_a_volume_that_was_mistyped(tmp_path: Path) -> None:
    """5 in a bucket of 20 L, gallons perhaps, is asked about; 16 L, another fill line, is a departure.

    So is the 5 where its own row says why.
    """

    def change(records: Records) -> None:
        records.mix(0, volume_l=5.0, ec_ms_cm=float("nan"))
        records.mix(1, volume_l=16.0, ec_ms_cm=float("nan"))

    def explained(records: Records) -> None:
        change(records)
        records.solution["note"] = ""
        records.solution.loc[[0, 1], "note"] = "a leak"

    write_records(tmp_path / "silent", change)
    slip, departure = check_trial(tmp_path / "silent").problems
    assert (slip.rule, slip.row, slip.column) == ("TK-S12", 2, "volume_l")
    assert "about 20 L" in told_problem(slip).expected
    assert (departure.rule, departure.case, departure.row) == ("TK-S01", "volume", 3)
    write_records(tmp_path / "explained", explained)
    assert [(one.rule, one.case) for one in check_trial(tmp_path / "explained").problems] == [("TK-S02", "volume")] * 2


@pytest.mark.parametrize(("volume_l", "brim_l", "fits"), [(20, 18.9, False), (18.9, 18.9, False), (16, 18.9, True),
                                                          (17.6, 18.9, False), (16.3, 18.9, True),
                                                          (17.6, 20.8, True), (20, 25, True)])  # fmt: skip
def test_water_leaves_an_air_gap(tmp_path: Path, volume_l: float, brim_l: float, fits: bool) -> None:
    """20 L are more than 5 US gallons (18.9 L); up to 16.3 L of these leave two inches. Of 20.8 L 17.6 L do."""
    write_records(tmp_path)
    path = tmp_path / "trial.toml"
    path.write_text(path.read_text("utf-8").replace("volume_l = 20\n", f"volume_l = {volume_l}\nbrim_l = {brim_l}\n"))
    found = [one for one in check_trial(tmp_path, stage="plan").problems if one.rule == "TK-P14"]
    assert bool(found) is not fits
    assert all((one.severity, one.column) == ("warning", "bucket.volume_l") for one in found)
    assert all(told_problem(one).expected.startswith("at most 16.3 L") for one in found)


@pytest.mark.parametrize(
    ("strength", "expected"), [(30, "at most 10 g in 100 mL"), (3, "at least 4 g in 100 mL, as all vinegar has")]
)
def test_no_acid_of_the_kitchen(tmp_path: Path, strength: float, expected: str) -> None:
    """Vinegar of 30 % or 3 % on the shelf is an error from the plan on, with its row, and what to use instead."""
    write_records(tmp_path)
    shelf = pd.read_csv(tmp_path / "products.csv")
    shelf.loc[shelf["acid"] == "acetic", "acid_pct_w_v"] = strength
    shelf.to_csv(tmp_path / "products.csv", index=False)
    stages: tuple[Stage, ...] = ("plan", "layout", "records")
    for stage in stages:
        (problem,) = check_trial(tmp_path, stage=stage).errors
        assert (problem.rule, problem.file, problem.column) == ("TK-S08", "products.csv", "acid_pct_w_v")
        told = told_problem(problem)
        assert told.expected == expected
        assert "Use white vinegar of 4 to 10 %" in told.how_to_fix


def test_water_beyond_acid(tmp_path: Path) -> None:
    """A garden of 320 mg/L where acid is tried is told to use other water; the rest of the trial goes on."""
    write_records(tmp_path)
    sites = pd.read_csv(tmp_path / "sites.csv")
    sites.loc[0, "alkalinity_mg_l_caco3"] = 320
    sites.to_csv(tmp_path / "sites.csv", index=False)
    (problem,) = check_trial(tmp_path, stage="layout").problems
    assert (problem.rule, problem.severity, problem.row) == ("TK-S09", "warning", 2)
    assert "distilled water" in told_problem(problem).how_to_fix
