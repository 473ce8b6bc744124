"""All trials as the records of one model: the scale of doses, gardens, older means, and the question asked of them."""

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trialkit.analysis.bucket_records import bucket_records
from trialkit.documents.ledger_entry import DaysMean
from trialkit.documents.recommended import Recommended
from trialkit.domain.heads import is_usable
from trialkit.domain.treatment import Treatment
from trialkit.evidence.ledger import Entry
from trialkit.evidence.ledger_contents import LedgerContents, read_ledger
from trialkit.evidence.pooling import pooled_records, question_of, read_buckets
from trialkit.rules.trial_folder import read_trial

Seasons = tuple[Path, tuple[Path, ...]]
First = tuple[Path, Recommended]
N_PER_TSP = 22.5
"""Blend L holds 9 % nitrogen, 5 g a teaspoon, in 20 L (by hand)."""


@pytest.fixture
def found(seasons: Seasons) -> LedgerContents:
    """What the ledger holds."""
    return read_ledger(seasons[0])


@pytest.fixture
def rows(found: LedgerContents) -> pd.DataFrame:
    """The buckets of its trials."""
    return read_buckets(found.entries)


def of(rows: pd.DataFrame, trial: int) -> pd.Series:
    """Rows of a trial."""
    return rows["trial"] == f"{trial:05d}"


def test_buckets_stand_as_they_were_recorded(seasons: Seasons) -> None:
    """Yield of a transplanted head is its bucket's marketable weight by its heads; nitrogen follows from the label."""
    trial = read_trial(seasons[1][0])
    records = bucket_records(trial)
    assert (records["n_mg_l"] == N_PER_TSP * records["dose_tsp"]).all()
    heads = trial.heads[trial.heads["outcome"] != "missing"]
    counted = (heads["outcome"] == "harvested") & heads["marketable"].fillna(True).astype(bool)
    by_hand = heads["weight_g"].where(counted, 0.0).groupby(heads["bucket"]).mean()
    known = records.set_index("bucket")["yield_g"].dropna()
    assert known.to_dict() == pytest.approx(by_hand.to_dict())


def test_reading_all_buckets_is_reading_each(seasons: Seasons, rows: pd.DataFrame) -> None:
    """The table of all trials holds every trial's buckets, each under its own trial and garden."""
    assert len(rows) == sum(len(read_trial(folder).layout) for folder in seasons[1])
    assert rows["trial"].nunique() == 3
    assert rows.groupby("trial")["site"].nunique().tolist() == [2, 2, 2]


def test_records_of_all_trials(seasons: Seasons, found: LedgerContents, rows: pd.DataFrame) -> None:
    """Doses are nitrogen, gardens keep their names, and heads scatter as those of all trials about their buckets."""
    records = pooled_records(found, rows, question_of(found, None))
    assert sorted(records.buckets["dose"].unique()) == [2 * N_PER_TSP, 4 * N_PER_TSP]
    assert len(records.buckets) == len(rows)
    assert set(records.gardens["site"]) == {"s1", "s2"}
    assert len(records.gardens) == 6
    squares, df = 0.0, 0
    for folder in seasons[1]:
        heads = read_trial(folder).heads
        weights = heads[is_usable(heads)].groupby("bucket")["weight_g"]
        squares += float((weights.var(ddof=0) * weights.size()).sum())
        df += int((weights.size() - 1).sum())
    assert records.head_variance == pytest.approx(squares / df, rel=1e-6)


def test_a_spoon_weighed_anew_is_no_other_dose(found: LedgerContents, rows: pd.DataFrame) -> None:
    """Strengths that no kitchen tells apart are one; what a spoon of another product brings is its own."""
    moved = rows.assign(n_mg_l=rows["n_mg_l"].where(~of(rows, 0), rows["n_mg_l"] + 0.4))
    asked = question_of(found, None)
    assert pooled_records(found, moved, asked).buckets["dose"].nunique() == 2
    other = rows.assign(n_mg_l=rows["n_mg_l"].where(~of(rows, 0), rows["n_mg_l"] * 1.5))
    found_doses = np.sort(pooled_records(found, other, asked).buckets["dose"].unique())
    assert found_doses == pytest.approx([45.0, 67.5, 90.0, 135.0])


def test_doses_without_a_place_on_todays_scale(found: LedgerContents, rows: pd.DataFrame) -> None:
    """A trial whose nitrogen is not known is left out; one that states no dose is taken to have given today's."""
    unknown = rows.assign(n_mg_l=rows["n_mg_l"].mask(of(rows, 0)))
    asked = question_of(found, None)
    assert set(pooled_records(found, unknown, asked).buckets["trial"]) == {"00001", "00002"}
    silent = unknown.assign(dose_tsp=rows["dose_tsp"].mask(of(rows, 0)))
    records = pooled_records(found, silent, asked).buckets
    assert (records.loc[records["trial"] == "00000", "dose"] == asked.practice_dose).all()
    no_dose = replace(asked, practice=Treatment("Larkmoor Butter"))
    assert set(pooled_records(found, silent, no_dose).buckets["trial"]) == {"00000"}


def test_where_todays_label_is_not_known_doses_are_spoons(found: LedgerContents, rows: pd.DataFrame) -> None:
    """Of trials that tell no nitrogen either; what was recommended by nitrogen is asked about by its spoons."""
    found.__dict__["n_per_tsp"] = float("nan")
    unknown = rows.assign(n_mg_l=rows["n_mg_l"].mask(~of(rows, 1)))
    asked = question_of(found, None)
    assert (asked.in_nitrogen, asked.per_tsp, asked.practice_dose) == (False, 1.0, 2.0)
    records = pooled_records(found, unknown, asked).buckets
    assert set(records["trial"]) == {"00000", "00002"}
    assert sorted(records["dose"].unique()) == [2.0, 4.0]


def test_what_is_asked(found: LedgerContents, first: First) -> None:
    """The practice is that of the newest protocol, or what was recommended last; seasons stand in their order."""
    asked = question_of(found, None)
    assert asked.practice == Treatment("Larkmoor Butter", 2.0)
    assert (asked.practice_dose, asked.per_tsp, asked.in_nitrogen) == (45.0, N_PER_TSP, True)
    assert asked.seasons == ("spring 2026", "summer 2026", "autumn 2026")
    again = question_of(found, first[1])
    assert again.practice == first[1].recommended.treatment
    assert again.practice_dose == first[1].recommended.n_mg_l


def test_days_of_older_entries(found: LedgerContents, rows: pd.DataFrame) -> None:
    """Means of treatments stand for a trial whose buckets tell none: with their errors, and what was held the same."""
    whole = pooled_records(found, rows, question_of(found, None)).days
    assert whole is not None
    assert whole.buckets["trial"].nunique() == 3
    first = found.entries[0]
    facts = replace(first.of_trial, days=(DaysMean(cultivar="Fenleaf", mean=39.0, se=0.5, df=20.0),))
    object.__setattr__(first.manifest, "facts", facts)
    untold = rows.assign(days=rows["days"].mask(of(rows, 0)), n_mg_l=rows["n_mg_l"].where(~of(rows, 0), 67.5))
    untold["acidifier"] = untold["acidifier"].mask(of(rows, 0), "white vinegar 5 %")
    days = pooled_records(found, untold, question_of(found, None)).days
    assert days is not None
    (one,) = days.buckets[days.buckets["trial"] == "00000"].to_dict("records")
    assert (one["cultivar"], one["acidifier"], one["dose"]) == ("Fenleaf", "white vinegar 5 %", 67.5)
    assert (one["weight_g"], one["known_variance"]) == (39.0, 0.25)
    others = days.buckets[days.buckets["trial"] != "00000"]
    assert others["known_variance"].isna().all()
    assert len(others) == len(whole.buckets) * 2 / 3


@pytest.mark.parametrize("absent", [["days", "days_se", "weighed"], ["weighed"]])
def test_entries_of_earlier_tables_are_read(
    found: LedgerContents, rows: pd.DataFrame, monkeypatch: pytest.MonkeyPatch, absent: list[str]
) -> None:
    """Tables from before days, and before unweighed heads, have fewer columns: the rest is read as it is."""

    def without_them(entry: Entry, name: str) -> bytes:
        data = pd.read_csv(io.BytesIO(read(entry, name)), dtype=str, keep_default_na=False)
        return data.drop(columns=absent).to_csv(index=False, lineterminator="\n").encode()

    read = Entry.read
    monkeypatch.setattr(Entry, "read", without_them)
    older = read_buckets(found.entries)
    assert older[absent].isna().all(axis=None)
    pd.testing.assert_frame_equal(older.drop(columns=absent), rows.drop(columns=absent))
