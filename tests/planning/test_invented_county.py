"""The invented county: its records are reproducible, and the analysis finds its truth again."""

import shutil
from collections.abc import Callable
from dataclasses import astuple
from pathlib import Path

import numpy as np
import pytest

from trialkit._resources import resource_folder
from trialkit.analysis import Results
from trialkit.planning.examples import make_example
from trialkit.planning.invented_county import Truth
from trialkit.rules.trial_folder import CheckedTrial, read_trial


@pytest.fixture(scope="module")
def trial() -> CheckedTrial:
    """The bundled autumn trial."""
    return read_trial(resource_folder("example_trials") / "autumn_dose")


@pytest.fixture(scope="module")
def results(example_results: Callable[[str], Results]) -> Results:
    """Its analysis."""
    return example_results("autumn_dose")


def test_bundled_examples_are_what_the_generator_makes(tmp_path: Path) -> None:
    """Drawing an example again from its hand-written files gives the bundled bytes."""
    for source in sorted(resource_folder("example_trials").iterdir()):
        folder = tmp_path / source.name
        folder.mkdir()
        for name in ("trial.toml", "sites.csv", "products.csv"):
            shutil.copy(source / name, folder)
        make_example(folder)
        for path in sorted(file for file in source.rglob("*") if file.is_file()):
            assert (folder / path.relative_to(source)).read_bytes() == path.read_bytes(), path


def test_the_truth_is_covered(trial: CheckedTrial, results: Results) -> None:
    """Every difference from the current practice is covered by its simultaneous interval, as in 95 % of seasons."""
    columns = ["cultivar", "dose_tsp", "acidifier"]
    layout = trial.layout.drop_duplicates(columns)
    keys = layout[columns].itertuples(index=False, name=None)
    truth = dict(zip(keys, Truth().mean_weight_g(layout), strict=True))
    current = truth[astuple(trial.protocol.practice)]
    rows = results.responses["weight_g"].comparisons
    assert len(rows) == 15
    for row in rows:
        true_difference = truth[astuple(row.treatment)] - current
        assert row.lower <= true_difference <= row.upper


def test_the_spread_is_found(results: Results) -> None:
    """Standard deviations within and between buckets come out near the truth: within 3 standard errors at this size."""
    found = {row.term: row.variance for row in results.responses["weight_g"].variances}
    truth = Truth().sd_g
    heads, buckets = 730, 192
    residual_error = truth["residual"] ** 2 * np.sqrt(2 / (heads - buckets))
    assert found["residual"] == pytest.approx(truth["residual"] ** 2, abs=3 * residual_error)
    between = truth["bucket"] ** 2 + truth["residual"] ** 2 / 4
    assert found["bucket"] + found["residual"] / 4 == pytest.approx(between, abs=3 * between * np.sqrt(2 / 150))


def test_days_follow_the_cultivar(results: Results) -> None:
    """Fenleaf is ready three days sooner, within the interval."""
    days = {row.level: row for row in (results.responses["days"].marginal_means or {})["cultivar"]}
    assert days["Larkmoor Butter"].mean - days["Fenleaf"].mean == pytest.approx(3.0, abs=1.0)
