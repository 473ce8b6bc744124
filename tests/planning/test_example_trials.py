"""The spring and the volunteers' trial: what is true in them is found again, from the sheets as they came back."""

import shutil
from collections.abc import Callable
from dataclasses import astuple
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trialkit._resources import resource_folder
from trialkit.analysis import Results
from trialkit.documents.findings import Note
from trialkit.documents.returns import Answers
from trialkit.planning.invented_county import LOST, TRUTHS, Truth
from trialkit.returns.answering import Given
from trialkit.returns.merge_files import merge_files
from trialkit.rules.trial_folder import CheckedTrial, read_trial


def bundled(name: str) -> CheckedTrial:
    """Read a bundled example."""
    return read_trial(resource_folder("example_trials") / name)


@pytest.fixture(scope="module")
def spring(example_results: Callable[[str], Results]) -> Results:
    """The analysis of the spring trial."""
    return example_results("spring_dose")


@pytest.fixture(scope="module")
def volunteers(example_results: Callable[[str], Results]) -> Results:
    """The analysis of the volunteers' trial."""
    return example_results("volunteer_cultivars")


@pytest.mark.parametrize("name", ["spring_dose", "volunteer_cultivars"])
def test_true_differences_are_covered(name: str, request: pytest.FixtureRequest) -> None:
    """Every difference in head weight from the current practice is covered by its simultaneous interval."""
    results: Results = request.getfixturevalue({"spring_dose": "spring"}.get(name, "volunteers"))
    trial = bundled(name)
    columns = ["cultivar", "dose_tsp", "acidifier"]
    layout = trial.layout.drop_duplicates(columns)
    keys = layout[columns].itertuples(index=False, name=None)
    truth = dict(zip(keys, TRUTHS[trial.protocol.trial.id].mean_weight_g(layout), strict=True))
    current = truth[astuple(trial.protocol.practice)]
    rows = results.responses["weight_g"].comparisons
    assert len(rows) == len(truth) - 1
    for row in rows:
        full = {"dose_tsp": 6.0, "acidifier": "white vinegar 5 %", **row.treatment.levels}
        assert row.lower <= truth[tuple(full[column] for column in columns)] - current <= row.upper


def test_days_of_the_cultivars_are_found(spring: Results) -> None:
    """Fenleaf is ready three days before Larkmoor Butter, whose slow heads the last visit did not see ready."""
    days = spring.responses["days"]
    fen, butter = (
        next(one for one in days.marginal_means["cultivar"] if one.level == name)
        for name in ("Fenleaf", "Larkmoor Butter")
    )
    error = float(np.hypot(fen.se, butter.se))  # gardens are common to both, so this is too large rather than small
    assert fen.mean - butter.mean == pytest.approx(-3.0, abs=2 * error)
    assert "not_ready" in {note.code for note in days.model.notes}


def test_the_lost_garden_is_counted_and_said(spring: Results) -> None:
    """Every head of Station Road bolted: 96 losses, no part in the weights, and a note about it."""
    lost = next(row for row in spring.losses.by_site if row.site == "STAT")
    assert (lost.heads.planned, lost.heads.lost, lost.share_usable) == (96, 96, 0.0)
    assert {row.site for row in spring.responses["bucket_weight_g"].buckets} == {"FERN", "MILL", "HARB", "QUAR"}
    model = spring.responses["bucket_weight_g"].model
    assert Note("garden_failed", site="STAT") in model.notes


@pytest.mark.parametrize("name", ["autumn_dose", "spring_dose", "volunteer_cultivars"])
def test_the_answer_is_right(name: str, example_results: Callable[[str], Results]) -> None:
    """What is recommended truly yields within 10 g of the best that was tried, and more than the practice."""
    decision, trial = example_results(name).decision, bundled(name)
    assert decision is not None
    assert decision.verdict.changes
    truth = TRUTHS.get(trial.protocol.trial.id, Truth())
    tried = trial.protocol.treatments()
    # Heads are lost whatever their treatment, so the best yield is that of the heaviest heads.
    share = 1 - sum(LOST.values())
    recommended = {"dose_tsp": 6.0, "acidifier": "white vinegar 5 %", **decision.recommended.levels}
    of = share * truth.mean_weight_g(pd.concat([tried, pd.DataFrame([recommended])]))
    practice = share * truth.mean_weight_g(
        pd.DataFrame([dict(zip(tried, astuple(trial.protocol.practice), strict=True))])
    )
    assert of[-1] >= of.max() - 10
    assert of[-1] > practice[0]


def test_the_spring_answer_tells_of_the_lost_garden(spring: Results) -> None:
    """A garden that lost everything is evidence of losses, and could well turn the answer."""
    decision = spring.decision
    assert decision is not None
    assert decision.evidence.failed_gardens == ("STAT",)
    assert "failed_gardens" in decision.cautions
    assert not decision.verdict.is_settled


def test_each_volunteer_is_a_garden(volunteers: Results) -> None:
    """24 gardens of three buckets each stand behind one answer; each cultivar stood in half of them."""
    assert volunteers.design.kind == "volunteer blocks"
    assert len(volunteers.design.sites) == 24
    decision = volunteers.decision
    assert decision is not None
    assert (decision.evidence.gardens, decision.evidence.buckets) == (24, 72)
    assert {one.stood.gardens for one in decision.candidates} == {12}


def test_the_sheets_are_what_the_record_holds(tmp_path: Path) -> None:
    """The 24 spreadsheets, each a mess of its own, are merged into the very heads.csv of the example."""
    source, folder = resource_folder("example_trials") / "volunteer_cultivars", tmp_path / "trial"
    shutil.copytree(source, folder)
    (folder / "heads.csv").unlink()
    sheets = sorted((folder / "sheets").glob("*.csv"))
    unanswered = merge_files(folder, sheets)
    assert sum(not file.merged for file in unanswered.files) == 10  # 4 + 3 + 3 with a question of their own
    answers = Answers(dates="day-first", accepted=("TK-R11", "TK-R21"))
    assert all(file.merged for file in merge_files(folder, sheets, Given(answers)).files)
    read = [path.read_text(encoding="utf-8").splitlines() for path in (folder / "heads.csv", source / "heads.csv")]
    assert sorted(read[0]) == sorted(read[1])
