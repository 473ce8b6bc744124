"""Departures from the layout: found whatever a note says, typed by kind, accepted where their own row says why."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from honest_records import Records, write_records
from trialkit.documents.departures import Departure
from trialkit.documents.returns import Correction
from trialkit.rules.departure_rules import find_departures
from trialkit.rules.trial_folder import CheckedTrial, check_trial, read_trial

Change = Callable[[Records], None]
NEXT_WEEK = pd.Timestamp("2026-08-27")


def trial_of(folder: Path, change: Change | None = None) -> CheckedTrial:
    """Write records, changed, and read them."""
    write_records(folder, change)
    return read_trial(folder)


def departures(trial: CheckedTrial) -> list[Departure]:
    """Departures of a trial."""
    found = find_departures(trial.protocol, trial.layout, trial.solution, trial.heads, trial.corrections)
    return [one.departure for one in found]


def first_bucket(trial: CheckedTrial) -> tuple[str, str]:
    """Identity and garden of the first bucket laid out."""
    return str(trial.layout["bucket"][0]), str(trial.layout["site"][0])


def test_nothing_to_tell(tmp_path: Path) -> None:
    """Records as honest volunteers return them have no departure."""
    assert departures(trial_of(tmp_path)) == []


def test_thirty_teaspoons_are_a_departure_whatever_a_note_says(tmp_path: Path) -> None:
    """The note of a head says nothing of a mixing; the mixing's own does, and it is listed all the same."""

    def change(records: Records) -> None:
        records.mix(0, nutrient_tsp=30.0, ec_ms_cm=float("nan"))
        records.heads["note"] = "lovely leaf"

    trial = trial_of(tmp_path / "elsewhere", change)
    (found,) = departures(trial)
    dose = float(trial.layout["dose_tsp"][0])
    assert found == Departure(*first_bucket(trial), "dose", dose, 30.0, "[tsp_us]", "2026-08-20", "")

    def explained(records: Records) -> None:
        change(records)
        records.solution["note"] = ""
        records.solution.loc[0, "note"] = "the wrong spoon"

    (noted,) = departures(trial_of(tmp_path / "in its row", explained))
    assert noted == replace(found, why="the wrong spoon")


def test_a_correction_of_the_cell_says_why(tmp_path: Path) -> None:
    """One of another cell, or of another row, does not."""
    trial = trial_of(tmp_path, lambda records: records.mix(0, nutrient_tsp=5.0, ec_ms_cm=float("nan")))
    bucket, _ = first_bucket(trial)
    made = Correction(
        "solution", (bucket, "2026-08-20"), "nutrient_tsp", "2", "5", "adviser", "2026-09-01", "five were meant"
    )
    for correction, why in (
        (made, "five were meant"),
        (replace(made, column="ph_after"), ""),
        (replace(made, key=(bucket, "2026-08-21")), ""),
        (replace(made, table="heads"), ""),
    ):
        (found,) = departures(replace(trial, corrections=(correction,)))
        assert found.why == why


def test_acid(tmp_path: Path) -> None:
    """Some for none, on any day, is the one acid that the trial has; none for some is none."""

    def change(records: Records) -> None:
        without, with_acid = (records.solution.index[(records.solution["acid_tsp"] > 0) == acid][0] for acid in (0, 1))
        again = records.solution.loc[[without]].assign(
            measured_on=NEXT_WEEK, nutrient_tsp=float("nan"), acid_tsp=2.0, ph_after=6.5, ec_ms_cm=float("nan")
        )
        records.mix(with_acid, acid_tsp=0.0, ph_after=7.0)
        records.solution = pd.concat([records.solution, again], ignore_index=True)

    unasked, forgotten = departures(trial_of(tmp_path, change))
    assert (unasked.assigned, unasked.applied, unasked.on) == ("none", "white vinegar 5 %", "2026-08-27")
    assert (forgotten.assigned, forgotten.applied, forgotten.on) == ("white vinegar 5 %", "none", "2026-08-20")


@pytest.mark.parametrize(("days", "far"), [(3, False), (4, True), (-4, True)])
def test_time(tmp_path: Path, days: int, far: bool) -> None:
    """A weekend is one time; beyond it the days of a bucket's planting and mixing are told beside its garden's."""
    day = pd.Timestamp("2026-08-25") + pd.Timedelta(days=days)

    def change(records: Records) -> None:
        records.heads["transplanted_on"] = records.solution["measured_on"] = pd.Timestamp("2026-08-25")
        records.mix(0, measured_on=day)
        records.heads.loc[:3, "transplanted_on"] = day

    found = [(one.kind, one.assigned, one.applied, one.on) for one in departures(trial_of(tmp_path, change))]
    told = ("2026-08-25", day.date().isoformat(), day.date().isoformat())
    assert found == ([("mixing", *told), ("transplanting", *told)] if far else [])


def test_a_garden_that_starts_late_departs_from_nothing(tmp_path: Path) -> None:
    """Its buckets are compared with each other, and were treated alike."""

    def change(records: Records) -> None:
        there = records.site == "MILL"
        records.heads.loc[there, "transplanted_on"] = NEXT_WEEK
        records.solution.loc[records.solution["bucket"].isin(records.heads["bucket"][there]), "measured_on"] = NEXT_WEEK

    assert departures(trial_of(tmp_path, change)) == []


def test_another_cultivar(tmp_path: Path) -> None:
    """What was planted is told where all heads of the bucket are of it; a head of another kind leaves it open."""
    write_records(tmp_path)
    path = tmp_path / "trial.toml"
    factors = '[factors.cultivar]\nlevels = ["Fenleaf"]\n\n[factors.acidifier]'
    path.write_text(path.read_text("utf-8").replace("[factors.acidifier]", factors), "utf-8")
    layout = pd.read_csv(tmp_path / "layout.csv").assign(cultivar="Fenleaf")
    layout.to_csv(tmp_path / "layout.csv", index=False)
    heads = pd.read_csv(tmp_path / "heads.csv").assign(cultivar_planted="", note="")
    heads.loc[:3, "cultivar_planted"] = "Paleheart"
    heads.loc[4, "cultivar_planted"] = "Paleheart"
    heads.loc[8:11, "cultivar_planted"] = "Fenleaf"
    heads.loc[:3, "note"] = "the trays were exchanged"
    heads.to_csv(tmp_path / "heads.csv", index=False)
    told = [(one.rule, one.case, one.row) for one in check_trial(tmp_path).problems if one.rule.startswith("TK-H2")]
    assert told == [("TK-H22", "cultivar", 2), ("TK-H21", "cultivar", 6)]
    whole, part = departures(read_trial(tmp_path))
    assert (whole.assigned, whole.applied, whole.why) == ("Fenleaf", "Paleheart", "the trays were exchanged")
    assert (part.assigned, part.applied, part.why) == ("Fenleaf", None, "")
