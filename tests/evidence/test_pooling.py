"""Pooling in one stage, beside statsmodels, and what is refused."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.documents.pooled import TrialGain
from trialkit.documents.recommended import FewTrials
from trialkit.domain.errors import NotComputed
from trialkit.evidence.accepting import bucket_records
from trialkit.evidence.differences import MOST_STEPS, combined_gains, garden_gains, trial_gains
from trialkit.evidence.ledger_contents import read_ledger
from trialkit.evidence.pooling import common_doses, linked, links, pool, read_buckets, with_treatments
from trialkit.mixed import fit_mixed
from trialkit.rules.trial_folder import read_trial
from trialkit.stats.meta import combine
from trialkit.words.default_words import heterogeneity

Seasons = tuple[Path, tuple[Path, ...]]


def invented(
    seed: int,
    trials: int,
    gardens: int = 3,
    blocks: int = 2,
    treatments: tuple[str, ...] = ("A", "B"),
    gain: float = 20.0,
) -> pd.DataFrame:
    """Buckets of trials in complete blocks, as the ledger gives them."""
    rng = np.random.default_rng(seed)
    rows = []
    for trial in range(trials):
        season = rng.normal(0, 10)
        better = gain + rng.normal(0, 6)
        for garden in range(gardens):
            level = rng.normal(0, 12)
            for block in range(blocks):
                for cultivar in treatments:
                    g = season + level + better * (cultivar == "B") + rng.normal(0, 10)
                    rows.append((f"T{trial}", f"G{garden}", str(block), cultivar, 120 + g))
    frame = pd.DataFrame(rows, columns=["trial", "site", "block", "cultivar", "yield_g"])
    frame["bucket"] = [f"{i:03d}" for i in range(len(frame))]
    return as_rows(frame)


def as_rows(frame: pd.DataFrame) -> pd.DataFrame:
    """The columns that every row of the pool has."""
    whole = frame.assign(whole_plot="", dose_tsp=4.0, n_mg_l=90.0, acidifier="none", planned=4, recorded=4, usable=4)
    whole["trial"] = whole["trial"].astype("category")
    whole["trial_site"] = (whole["trial"].astype(str) + "/" + whole["site"]).astype("category")
    return whole


def label_of(treatments: pd.DataFrame, cultivar: str) -> str:
    """Label of a cultivar's treatment."""
    return str(treatments.index[treatments["cultivar"] == cultivar][0])


def test_buckets_stand_as_they_were_recorded(seasons: Seasons) -> None:
    """Yield of a transplanted head is its bucket's marketable weight by its heads; nitrogen follows from the label.

    Blend L holds 9 % nitrogen, 5 g a teaspoon, in 20 L: 22.5 mg/L for each teaspoon (by hand).
    """
    trial = read_trial(seasons[1][0])
    records = bucket_records(trial)
    assert (records["n_mg_l"] == 22.5 * records["dose_tsp"]).all()
    counted = (trial.heads["outcome"] == "harvested") & trial.heads["marketable"].fillna(True).astype(bool)
    by_hand = trial.heads["weight_g"].where(counted, 0.0).groupby(trial.heads["bucket"]).sum() / 2
    assert records.set_index("bucket")["yield_g"].to_dict() == pytest.approx(by_hand.to_dict())


def test_pool_is_the_engine_on_all_buckets() -> None:
    """Estimates are those of one mixed model with trials, gardens and blocks; of balanced data the plain difference."""
    rows, treatments = with_treatments(invented(1, 4), {})
    current, other = label_of(treatments, "A"), label_of(treatments, "B")
    pooled = pool(rows, treatments, current)
    assert pooled.random == ("trial", "trial_site", "trial_site:block", "trial:cultivar", "trial_site:cultivar")
    direct = fit_mixed(rows, "yield_g ~ treatment", list(pooled.random))
    assert pooled.fit.criterion == pytest.approx(direct.criterion)
    means = rows.groupby("treatment", observed=True)["yield_g"].mean()
    found = pooled.fit.compare("treatment", "versus", current, "none")["estimate"].iloc[0]
    assert found == pytest.approx(means[other] - means[current])


def test_error_of_the_gain_in_balanced_trials() -> None:
    """With trial, garden and residual variances free, the gain's error is that of the trials' mean gains (by hand).

    In a balanced hierarchy the highest stratum in which a treatment varies is its error: t of the trials' own gains.
    """
    rows, treatments = with_treatments(invented(9, 6, gain=30.0), {})
    current, other = label_of(treatments, "A"), label_of(treatments, "B")
    pooled = pool(rows, treatments, current)
    cells = rows.groupby(["trial", "treatment"], observed=True)["yield_g"].mean().unstack()
    own = cells[other] - cells[current]
    row = pooled.fit.compare("treatment", "versus", current, "none").iloc[0]
    if pooled.fit.variances["trial:cultivar"] > 0 and pooled.fit.variances["trial_site:cultivar"] > 0:
        assert row["se"] == pytest.approx(own.std() / np.sqrt(len(own)), rel=1e-6)
        assert row["df"] == pytest.approx(len(own) - 1, rel=1e-4)


def test_few_trials_say_what_they_cannot() -> None:
    """One and two trials are fixed, and it is told that they are too few to say how seasons differ."""
    for trials in (1, 2):
        rows, treatments = with_treatments(invented(2, trials), {})
        pooled = pool(rows, treatments, label_of(treatments, "A"))
        assert "trial:cultivar" not in pooled.random
        assert pooled.few_trials == (FewTrials("cultivar", trials),)


def test_links_between_treatments() -> None:
    """A treatment is compared over others that it met, and one that met none of them is kept apart."""
    parts = [
        invented(3, 2, treatments=("A", "B")).assign(trial=lambda f: f["trial"].astype(str) + "x"),
        invented(4, 2, treatments=("B", "C")).assign(trial=lambda f: f["trial"].astype(str) + "y"),
        invented(5, 2, treatments=("D", "E")).assign(trial=lambda f: f["trial"].astype(str) + "z"),
    ]
    rows, treatments = with_treatments(as_rows(pd.concat(parts, ignore_index=True)), {})
    current = label_of(treatments, "A")
    assert [treatments.loc[label, "cultivar"] for label in linked(rows, current)] == ["A", "B", "C"]
    pooled = pool(rows, treatments, current)
    assert list(pooled.apart["cultivar"]) == ["D", "E"]
    assert links(pooled, label_of(treatments, "C")) == (2, 0)
    assert links(pooled, label_of(treatments, "B")) == (4, 2)
    assert pooled.fit.compare("treatment", "versus", current)["estimate"].notna().all()


def test_nothing_to_compare() -> None:
    """Where the current practice stands alone it is said."""
    rows, treatments = with_treatments(invented(6, 2, treatments=("A",)), {})
    with pytest.raises(NotComputed, match="nothing to compare"):
        pool(rows, treatments, label_of(treatments, "A"))


@given(st.lists(st.floats(0, 500), max_size=12))
@settings(max_examples=100, deadline=None)
def test_common_doses_keep_their_order(nitrogen: list[float]) -> None:
    """Every dose belongs to one, no two that are far apart together, and larger ones to larger ones."""
    found = common_doses(nitrogen)
    assert set(found) == {float(value) for value in nitrogen}
    ordered = sorted(found)
    assert [found[value] for value in ordered] == sorted(found.values())
    for before, value in pairwise(ordered):
        assert (found[before] == found[value]) or value - before > 0.05 * value or round(value, 1) == round(before, 1)


def test_products_meet_on_the_scale_of_nitrogen() -> None:
    """Spoons of one product and of another with the same nitrogen are one dose; where a label is missing, none is."""
    frame = invented(7, 2)
    frame["dose_tsp"] = np.where(frame["trial"] == "T0", 4.0, 3.0)
    rows, treatments = with_treatments(frame.assign(n_mg_l=np.where(frame["trial"] == "T0", 90.0, 91.0)), {})
    assert treatments["n_level"].unique().tolist() == ["90.5 mg/L N"]
    rows, treatments = with_treatments(frame.assign(n_mg_l=np.nan), {"T0": "Blend L", "T1": None})
    assert sorted(treatments["n_level"].unique()) == ["3 tsp of an unnamed nutrient", "4 tsp of Blend L"]
    assert len(linked(rows, label_of(treatments, "A"))) == 2


def test_gains_by_trial_by_hand() -> None:
    """A trial's gain is its gardens' mean gain where all have as many buckets; its error from residual and gardens."""
    rows, treatments = with_treatments(invented(8, 3), {})
    current, other = label_of(treatments, "A"), label_of(treatments, "B")
    pooled = pool(rows, treatments, current)
    gains = combined_gains(garden_gains(pooled, other), pooled, other, ["trial"]).set_index("trial")
    cells = rows.groupby(["trial", "treatment"], observed=True)["yield_g"].mean().unstack()
    assert gains["gain"].to_dict() == pytest.approx((cells[other] - cells[current]).to_dict())
    one_garden = pooled.fit.variances["residual"] * (1 / 2 + 1 / 2) + 2 * pooled.fit.variances["trial_site:cultivar"]
    assert gains["variance"].to_numpy() == pytest.approx(one_garden / 3)


def test_cumulative_and_leave_one_out() -> None:
    """After each trial the estimate is that of the trials so far; without one, that of the others."""
    gains = [TrialGain(f"t{i}", f"s{i}", value, 2.0, 3) for i, value in enumerate([10.0, 14.0, 12.0, 30.0])]
    found = trial_gains(gains, 20.0, 0.95)
    assert [step.trials for step in found.cumulative] == [1, 2, 3, 4]
    assert [step.gain for step in found.cumulative[:3]] == pytest.approx([10.0, 12.0, 12.0])
    assert found.leave_one_out[3].gain == pytest.approx(12.0)
    assert found.combined.gain == pytest.approx(np.mean([10, 14, 12, 30]))
    assert found.combined.tau_g == pytest.approx(np.sqrt(np.var([10, 14, 12, 30], ddof=1) - 4.0))
    assert "ahead in all 4 trials" in heterogeneity(found)


def test_a_long_ledger_is_told_in_as_many_steps_as_can_be_read() -> None:
    """The first and the last trial are among the steps, and both trials that count most among those left out."""
    rng = np.random.Generator(np.random.PCG64(9))
    gains = [TrialGain(f"t{i}", f"s{i}", float(rng.normal(10, 8)), float(rng.uniform(1, 5)), 3) for i in range(60)]
    found = trial_gains(gains, 20.0, 0.95)
    assert len(found.cumulative) == len(found.leave_one_out) == MOST_STEPS
    assert (found.cumulative[0].trials, found.cumulative[-1].trials) == (1, 60)
    assert found.cumulative[-1].gain == pytest.approx(found.combined.gain)
    effects, variances = np.array([one.gain for one in gains]), np.array([one.se**2 for one in gains])
    left = [float(combine(np.delete(effects, i), np.delete(variances, i)).estimates[0]) for i in range(60)]
    told = {step.trial: step.gain for step in found.leave_one_out}
    for i in (int(np.argmin(left)), int(np.argmax(left))):
        assert told[f"t{i}"] == pytest.approx(left[i])


def test_reading_all_buckets_is_reading_each(seasons: Seasons) -> None:
    """The table of all trials holds every trial's buckets, each under its own trial and garden."""
    found = read_ledger(seasons[0])
    rows = read_buckets(found.entries)
    assert len(rows) == sum(len(read_trial(folder).layout) for folder in seasons[1])
    assert rows["trial"].nunique() == 3
    assert rows["trial_site"].nunique() == 9
