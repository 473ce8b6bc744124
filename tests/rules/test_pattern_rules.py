"""Rules about many records together: each finds what it is for, and leaves what chance brings alone."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from honest_records import Records, write_records
from trialkit.documents.problems import Problem
from trialkit.rules.pattern_rules import FEWEST_TO_SEE_ROUNDING, ROUNDED_SHARE
from trialkit.rules.trial_folder import check_trial
from trialkit.words.problem_words import told_problem

Change = Callable[[Records], None]


def found(folder: Path, rule: str, change: Change | None = None) -> list[Problem]:
    """Write records, changed, and return the problems of one rule; nothing else may be an error."""
    write_records(folder, change)
    result = check_trial(folder)
    assert result.ok, result.errors
    return [problem for problem in result.problems if problem.rule == rule]


def test_honest_records_are_left_alone(tmp_path: Path) -> None:
    """Weights, losses, doses and readings as they come by chance raise no rule at all."""
    write_records(tmp_path)
    assert check_trial(tmp_path).problems == ()


@pytest.mark.parametrize("gardens", [["MILL"], ["FERN", "STAT"]])
def test_gardens_that_weighed_in_ounces(tmp_path: Path, gardens: list[str]) -> None:
    """Weights divided by 28.349523125 (NIST Handbook 44): each such garden once, even where most gardens did it."""

    def change(records: Records) -> None:
        records.weigh(records.site.isin(gardens), (records.heads["weight_g"] / 28.349523125).round(1))

    problems = found(tmp_path, "TK-H13", change)
    assert [told_problem(problem).found.split(" at ")[1].split(",")[0] for problem in problems] == gardens
    assert told_problem(problems[0]).how_to_fix.startswith(
        f"If {gardens[0]} weighed in ounces, multiply its weights by 28.35."
    )


def test_a_poor_garden_is_no_other_unit(tmp_path: Path) -> None:
    """Heads of a third of the weight are heads in the shade, not heads in ounces."""
    told = found(tmp_path, "TK-H13", lambda r: r.weigh(r.site == "MILL", r.heads["weight_g"] // 3))
    assert told == []


def test_weights_read_to_the_nearest_five(tmp_path: Path) -> None:
    """A garden that rounds is told once; the others, in whole grams, are not."""

    def change(records: Records) -> None:
        records.weigh(records.site == "FERN", 5 * (records.heads["weight_g"] / 5).round())

    (problem,) = found(tmp_path, "TK-H14", change)
    assert "weights at FERN that end in 0 or 5" in told_problem(problem).found


def test_rounding_is_seldom_seen_where_there_is_none() -> None:
    """In whole grams more than half of 30 weights end in 0 or 5 once in 3,000 gardens at most (binomial tail)."""
    chance = binom.sf(ROUNDED_SHARE * FEWEST_TO_SEE_ROUNDING, FEWEST_TO_SEE_ROUNDING, 0.2)
    assert chance < 1 / 3000


def test_a_bucket_copied_from_another(tmp_path: Path) -> None:
    """The weights of one bucket again at another of the same garden, named with both buckets."""
    copied = slice(4, 7)
    (problem,) = found(tmp_path, "TK-H15", lambda records: records.weigh(copied, records.heads["weight_g"][:4].array))
    buckets = pd.read_csv(tmp_path / "heads.csv", dtype=str)["bucket"]
    assert told_problem(problem).found.startswith(f"the weights of bucket {buckets[0]} again at bucket {buckets[4]}: ")
    assert problem.row == 6


def test_a_bucket_whose_heads_all_weigh_the_same(tmp_path: Path) -> None:
    """Four heads of exactly one weight look filled down."""
    (problem,) = found(tmp_path, "TK-H15", lambda records: records.weigh(slice(8, 11), 151.0))
    assert "all of the same weight" in told_problem(problem).found
    assert problem.row == 10


def test_growth_no_lettuce_can_do(tmp_path: Path) -> None:
    """A head of 1.6 kg after 40 days gained 40 g a day: another one's point has slipped."""
    (problem,) = found(tmp_path, "TK-H16", lambda records: records.weigh(slice(3, 3), 1600.0))
    assert (problem.row, problem.column) == (5, "weight_g")


def test_losses_that_follow_the_dose(tmp_path: Path) -> None:
    """Half of the heads of the highest dose dead in many buckets is told, with the doses and their shares."""
    (problem,) = found(tmp_path, "TK-H17", lambda r: r.lose((r.dose == 8) & (r.heads["head"] <= 2)))
    assert "50 % of the heads lost with dose_tsp 8.0, 0 % with" in told_problem(problem).found


def test_one_dead_bucket_is_no_pattern(tmp_path: Path) -> None:
    """Four heads that died together in one bucket count once."""
    assert found(tmp_path, "TK-H17", lambda r: r.lose(r.heads["bucket"] == r.heads["bucket"][0])) == []


def test_losses_by_chance_are_seldom_a_pattern(tmp_path: Path) -> None:
    """In 200 trials with a fifth of the heads lost at random at most 5 are told: 1 % asked, 3 standard errors above."""
    from trialkit.protocol.trial_protocol import parse_protocol
    from trialkit.rules.pattern_rules import losses_do_not_follow_treatment
    from trialkit.rules.trial_tables import TrialTables
    from trialkit.tables.table_schema import load_schema
    from trialkit.tables.typed_tables import read_table

    write_records(tmp_path)
    protocol = parse_protocol((tmp_path / "trial.toml").read_text("utf-8"))
    readings = {
        name: read_table(load_schema(name), (tmp_path / f"{name}.csv").read_text("utf-8"))
        for name in ("layout", "heads")
    }
    draws = np.random.default_rng(20261127)
    frame = readings["heads"].frame
    told = 0
    for _ in range(200):
        frame["outcome"] = np.where(draws.random(len(frame)) < 0.2, "dead", "harvested")
        told += bool(list(losses_do_not_follow_treatment(TrialTables(readings, protocol, ""))))
    assert told <= 200 * 0.01 + 3 * np.sqrt(200 * 0.01 * 0.99)
