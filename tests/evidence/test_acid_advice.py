"""Acid by water: what gardens took beside chemistry, shared among them, and never more than is safe."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from seasons import accept, season
from small_trial import small_trial
from trialkit.analysis.water_chemistry import acid_taken
from trialkit.documents.ledger_entry import AcidTaken
from trialkit.domain.treatment import Treatment
from trialkit.evidence.acid_advice import RATIO_SD, acid_for_classes, acid_ratio, ratio_for
from trialkit.evidence.ledger_contents import read_ledger
from trialkit.rules.trial_folder import read_trial
from trialkit.solution.acid_steps import LOWEST_PH, LOWEST_PH_AFTER_A_STEP
from trialkit.solution.acids import AcidProduct
from trialkit.solution.mixing import acid_by_class

VINEGAR = AcidProduct("white vinegar 5 %", "acetic", pct_w_v=5.0)
CITRIC = AcidProduct("citric acid", "citric", grams_per_tsp=4.6)


def took(ratio: float, se: float, mixings: int = 3) -> AcidTaken:
    """A garden that took so many times what was foreseen, with a standard error on the scale of logarithms."""
    return AcidTaken("white vinegar 5 %", mixings, ratio, ratio * np.exp(-1.959964 * se), ratio * np.exp(1.959964 * se))


def test_shared_ratio_is_that_of_the_whole_integral() -> None:
    """Mean and spread are those of the posterior summed over a fine grid of both unknowns."""
    logs, errors = np.array([0.3, 0.05, -0.1]), np.array([0.1, 0.05, 0.2])
    found = acid_ratio([took(float(np.exp(y)), float(s)) for y, s in zip(logs, errors, strict=True)], 0.95)
    assert found is not None
    mean, sd = np.meshgrid(np.linspace(-0.8, 0.8, 1601), np.linspace(0.0, 4 * RATIO_SD, 601), indexing="ij")
    log = -((mean / RATIO_SD) ** 2) / 2 - (sd / RATIO_SD) ** 2 / 2
    for y, s in zip(logs, errors, strict=True):
        log -= np.log(s**2 + sd**2) / 2 + (y - mean) ** 2 / (2 * (s**2 + sd**2))
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    middle = float((weight * mean).sum())
    spread = float(np.sqrt((weight * (mean - middle) ** 2).sum()))
    assert np.log(found.ratio) == pytest.approx(middle, abs=2e-4)
    assert np.log(found.upper / found.lower) / (2 * 1.959964) == pytest.approx(spread, rel=5e-3)
    assert (found.mixings, found.gardens) == (9, 3)


def test_little_is_drawn_to_chemistry_and_much_is_not() -> None:
    """One vague garden hardly moves it, many that agree do, and without any there is none."""
    vague, many = acid_ratio([took(1.5, 0.5)], 0.95), acid_ratio([took(1.2, 0.05)] * 40, 0.95)
    assert acid_ratio([], 0.95) is None
    assert vague is not None
    assert many is not None
    assert 1.0 < vague.ratio < 1.05
    assert many.ratio == pytest.approx(1.2, abs=0.01)
    assert many.upper - many.lower < 0.05 < vague.upper - vague.lower


@pytest.mark.parametrize("acid", [VINEGAR, CITRIC])
@pytest.mark.parametrize("ratio", [0.8, 1.15, 3.0])
def test_amounts_follow_the_ratio_as_far_as_is_safe(acid: AcidProduct, ratio: float) -> None:
    """Less is less; more is more, until the lowest water of the class would fall below what a step may leave."""
    usual, moved = (acid_by_class(20.0, acid, 5.8, ratio=times) for times in (1.0, ratio))
    for before, now in zip(usual, moved, strict=True):
        assert (now.lower, now.upper, now.step) == (before.lower, before.upper, before.step)
        assert (now.acid.tsp >= before.acid.tsp) if ratio > 1 else (now.acid.tsp <= before.acid.tsp)
        safe = now.ph_at_lower >= LOWEST_PH_AFTER_A_STEP - 0.05  # a quarter of a teaspoon is as fine as spoons are
        assert safe or now.acid.tsp <= before.acid.tsp
    if ratio < 1:
        held = [before.ph_at_lower < LOWEST_PH + 0.1 for before in usual]  # already by what its lowest water bears
        less = [now.acid.tsp < before.acid.tsp for before, now in zip(usual, moved, strict=True)]
        assert all(one or is_held for one, is_held, before in zip(less, held, usual, strict=True) if before.step)
        assert sum(held) <= 1
    assert all(now.ph_at_lower >= LOWEST_PH for now in moved)
    assert all(one.acid.tsp <= other.acid.tsp for one, other in pairwise(moved))


def test_what_a_trial_tells_of_its_waters(tmp_path: Path) -> None:
    """Of each garden and acid with enough readings; water stated half as hard took twice as much beside it."""
    small_trial(tmp_path, sites=2, blocks=3, acidifiers=3, doses=0)
    trial = read_trial(tmp_path)
    told = list(acid_taken(trial))
    assert {one.acidifier for one in told} <= {"white vinegar 5 %", "citric acid"}
    assert told
    assert all(one.lower < one.ratio < one.upper for one in told)
    stated = trial.sites["alkalinity_mg_l_caco3"]
    half = list(acid_taken(replace(trial, sites=trial.sites.assign(alkalinity_mg_l_caco3=stated / 2))))
    assert [one.ratio for one in half] == pytest.approx([2 * one.ratio for one in told])
    unknown = replace(trial, sites=trial.sites.assign(alkalinity_mg_l_caco3=np.nan))
    assert list(acid_taken(unknown)) == []


def test_all_trials_of_a_ledger_tell(tmp_path: Path) -> None:
    """Mixings add up over trials, of the recommended acid alone; what is not on any shelf has no amounts."""
    for name, seed in (("one", 1), ("two", 2)):
        folder = season(tmp_path / name, name, "spring", "2026-03-01", sites=2, blocks=3, acidifiers=2, seed=seed)
        accept(tmp_path / "ledger", folder)
    found = read_ledger(tmp_path / "ledger")
    vinegar = Treatment(acidifier="white vinegar 5 %")
    told = ratio_for(found, vinegar)
    taken = [one for entry in found.entries for one in entry.of_trial.acid if one.acidifier == vinegar.acidifier]
    assert told is not None
    assert told.gardens == len(taken)
    assert told.mixings == sum(one.mixings for one in taken)
    assert len({entry.listed.id for entry in found.entries if entry.of_trial.acid}) == 2
    assert acid_for_classes(found, vinegar, told)
    assert acid_for_classes(found, Treatment(acidifier="none"), None) == ()
