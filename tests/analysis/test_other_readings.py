"""The records read otherwise: by what was really done, against a refit; and with heads of unknown fate as lost."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from trialkit._resources import resource_folder
from trialkit.analysis.advising import Advice, advise, choose
from trialkit.analysis.bucket_records import bucket_records, gardens_of, question_of, records_of, trial_records
from trialkit.analysis.other_readings import as_applied, other_readings
from trialkit.analysis.water_chemistry import water_of
from trialkit.documents.decision import OtherReading
from trialkit.documents.departures import Departure
from trialkit.rules.departure_rules import find_departures
from trialkit.rules.trial_folder import CheckedTrial, read_trial

TRIED = {"cultivar": ("Fenleaf", "Paleheart"), "dose_tsp": (2.0, 8.0), "acidifier": ("none", "citric acid")}
BUCKETS = pd.DataFrame(
    {"bucket": list("abc"), "cultivar": "Fenleaf", "dose_tsp": 8.0, "n_mg_l": 80.0, "acidifier": "none"}
)


@pytest.fixture(scope="module")
def spring() -> CheckedTrial:
    """Two cultivars and four doses."""
    return read_trial(resource_folder("example_trials") / "spring_dose")


def readings(trial: CheckedTrial) -> dict[str, OtherReading]:
    """Other readings of a trial's records, by their code."""
    water, question = water_of(trial), question_of(trial)
    buckets = bucket_records(trial)
    records = records_of(trial, buckets, gardens_of(trial, water))
    advice = advise(records, question)
    assert isinstance(advice, Advice)
    departures = find_departures(trial.protocol, trial.layout, trial.solution, trial.heads)
    found = other_readings(trial, records, buckets, advice, [one.departure for one in departures])
    return {one.of: one for one in found}


def mixed_as(trial: CheckedTrial, doses: pd.Series) -> CheckedTrial:
    """Let the solution's record say that buckets got these doses."""
    solution = trial.solution.copy()
    solution["nutrient_tsp"] = solution["bucket"].map(doses.set_axis(trial.layout["bucket"])).to_numpy()
    return replace(trial, solution=solution)


def exchanged(trial: CheckedTrial, one: float, other: float, count: int) -> pd.Series:
    """Doses of the layout with those of the first so many buckets of two doses exchanged."""
    doses = trial.layout["dose_tsp"].copy()
    first, second = (doses.index[trial.layout["dose_tsp"] == dose][:count] for dose in (one, other))
    doses[first], doses[second] = other, one
    return doses


def test_what_was_done_is_what_a_layout_of_it_would_give(spring: CheckedTrial) -> None:
    """Doses exchanged in six buckets: the second answer is that of a trial laid out so, fitted anew."""
    doses = exchanged(spring, 2.0, 8.0, 3)
    mixed = mixed_as(spring, doses)
    found = readings(mixed)["as_applied"]
    refit = choose(
        trial_records(replace(spring, layout=spring.layout.assign(dose_tsp=doses)), water_of(spring)),
        question_of(spring),
    )
    assert (found.treatment, found.verdict, found.probability_near_best) == (
        refit.treatment,
        refit.verdict,
        refit.probability_near_best,
    )
    assert (found.concerned, found.left_out) == (6, 0)
    assert bucket_records(mixed).equals(bucket_records(spring))


def test_another_choice_is_told(spring: CheckedTrial) -> None:
    """All buckets of the greatest dose and of the least exchanged: less feed was better, and that is another choice."""
    found = readings(mixed_as(spring, exchanged(spring, 2.0, 8.0, len(spring.layout))))["as_applied"]
    assert found.treatment is not None
    assert found.treatment.dose_tsp is not None
    assert found.treatment.dose_tsp < 4.0
    assert not found.is_same


def test_nothing_to_read_otherwise(spring: CheckedTrial) -> None:
    """Where everything was done as assigned and every fate is known there is one reading."""
    known = spring.heads.copy()
    known.loc[~known["outcome"].isin(["harvested", "not_ready"]), "outcome"] = "dead"
    assert readings(replace(spring, heads=known)) == {}


def test_unknown_heads_as_lost(spring: CheckedTrial) -> None:
    """A garden that gave up: the other reading is that of a trial in which its heads had died."""
    there = spring.heads["bucket"].map(spring.layout.set_index("bucket")["site"]) == "FERN"
    heads = spring.heads.copy()
    heads.loc[there, ["outcome", "weight_g", "marketable", "harvested_on"]] = ["gave_up", np.nan, pd.NA, pd.NaT]
    unknown = ~heads["outcome"].isin(["harvested", "not_ready", "dead", "bolted"])
    found = readings(replace(spring, heads=heads))["all_lost"]
    dead = replace(spring, heads=heads.assign(outcome=heads["outcome"].where(~unknown, "dead")))
    refit = choose(trial_records(dead, water_of(dead)), question_of(dead))
    assert found.concerned == int(unknown.sum())
    assert (found.treatment, found.verdict) == (refit.treatment, refit.verdict)
    assert found.probability_near_best == refit.probability_near_best


def departure(bucket: str, kind: str, assigned: float | str, applied: float | str | None) -> Departure:
    """Make a departure of which only the amounts play a part."""
    return Departure(bucket, "s", kind, assigned, applied, None, None, "")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("departures", "expected"),
    [
        ([departure("a", "dose", 8.0, 5.0)], (5.0, 50.0)),
        # 8 spoons in 16 L in place of 20 L are as strong as 10; in 19 L as 8.42, to the quarter spoon 8.5.
        ([departure("a", "volume", 20.0, 16.0)], (10.0, 100.0)),
        ([departure("a", "volume", 20.0, 19.0)], (8.5, 85.0)),
        ([departure("a", "dose", 8.0, 4.0), departure("a", "volume", 20.0, 16.0)], (5.0, 50.0)),
        # Beyond twice the greatest dose tried, or below half the least, it is none of the trial's.
        ([departure("a", "dose", 8.0, 16.0)], (16.0, 160.0)),
        ([departure("a", "dose", 8.0, 30.0)], None),
        ([departure("a", "dose", 8.0, 0.5)], None),
        ([departure("a", "transplanting", "2026-08-20", "2026-08-30")], None),
        ([departure("a", "mixing", "2026-08-20", "2026-08-30"), departure("a", "dose", 8.0, 5.0)], None),
    ],
)
def test_strengths_by_hand(departures: list[Departure], expected: tuple[float, float] | None) -> None:
    """A bucket counts under the strength that it had, or is left out; the others stay as they are."""
    found = as_applied(BUCKETS, departures, TRIED, 10.0)
    rest = found.buckets[found.buckets["bucket"] != "a"].reset_index(drop=True)
    assert rest.equals(BUCKETS[1:].reset_index(drop=True))
    if expected is None:
        assert (found.moved, found.left_out, len(found.buckets)) == (0, 1, 2)
    else:
        assert (found.moved, found.left_out) == (1, 0)
        assert tuple(found.buckets.loc[0, ["dose_tsp", "n_mg_l"]]) == expected


def test_names_by_hand() -> None:
    """Another cultivar or acid counts where the trial tried it, and leaves the bucket out where nobody knows which."""
    told = [departure("a", "cultivar", "Fenleaf", "Paleheart"), departure("b", "acid", "none", "citric acid")]
    found = as_applied(BUCKETS, told, TRIED, 10.0)
    assert found.buckets["cultivar"].to_list() == ["Paleheart", "Fenleaf", "Fenleaf"]
    assert found.buckets["acidifier"].to_list() == ["none", "citric acid", "none"]
    unknown = [departure("a", "cultivar", "Fenleaf", "Tarnfrost"), departure("b", "acid", "none", None)]
    assert as_applied(BUCKETS, unknown, TRIED, 10.0).buckets["bucket"].to_list() == ["c"]


def test_what_was_not_varied_plays_no_part() -> None:
    """Where one dose was given, another volume changes nothing, and another dose is none of the trial's."""
    tried = {"cultivar": ("Fenleaf", "Paleheart")}
    volume = as_applied(BUCKETS, [departure("a", "volume", 20.0, 16.0)], tried, 10.0)
    assert (volume.moved, volume.left_out) == (0, 0)
    assert as_applied(BUCKETS, [departure("a", "dose", 8.0, 5.0)], tried, 10.0).left_out == 1


def test_a_published_trial_by_assignment_and_by_treatment() -> None:
    """Deaths within two years in a trial of surgery against medicine, as Newell (1992) sets both readings side by side.

    Newell, D. J. (1992), Int. J. Epidemiology 21, 837-841 (counts from memory; they give his percentages): of 373
    allocated to medicine 50 had surgery and 2 of these died, 27 of the rest did; of 395 allocated to surgery 26 had
    none and 6 of these died, 15 of the rest did. By allocation 7.8 % died under medicine and 5.3 % under surgery; by
    what was done 9.5 % and 4.1 %.
    """
    groups = [("medicine", "medicine", 323, 27), ("medicine", "surgery", 50, 2),
              ("surgery", "surgery", 369, 15), ("surgery", "medicine", 26, 6)]  # fmt: skip
    rows, departures = [], []
    for allocated, done, patients, deaths in groups:
        for number in range(patients):
            name = f"{allocated}-{done}-{number}"
            rows.append((name, allocated, np.nan, np.nan, "", number < deaths))
            if allocated != done:
                departures.append(departure(name, "cultivar", allocated, done))
    columns = ["bucket", "cultivar", "dose_tsp", "n_mg_l", "acidifier", "died"]
    assigned = pd.DataFrame(rows, columns=columns)
    applied = as_applied(assigned, departures, {"cultivar": ("medicine", "surgery")}, np.nan)
    assert (applied.moved, applied.left_out) == (76, 0)
    shares = [100 * one.groupby("cultivar")["died"].mean() for one in (assigned, applied.buckets)]
    assert [one.round(1).to_dict() for one in shares] == [
        {"medicine": 7.8, "surgery": 5.3},
        {"medicine": 9.5, "surgery": 4.1},
    ]
