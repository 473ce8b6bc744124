"""Fixtures shared by all tests: reference cases with their sources (tests/reference/README.md), and a real browser."""

from __future__ import annotations

# ruff: noqa: E402 - before the package and the numerical libraries load
import os
import sys

# Each of the hundred processes that tests start loads the package: compiled once, not by each.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

from trialkit._startup import begin_lightly

begin_lightly()  # as the command does

import gc
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from chromium import ARGUMENTS, CHROMIUM, Window
from once import once, value_once
from trialkit._resources import resource_folder
from trialkit.analysis import Results, analyse
from trialkit.mixed import MixedFit, fit_mixed
from trialkit.rules.trial_folder import read_trial

pytest_plugins = ["good_trial"]
EXAMPLES = resource_folder("example_trials")
REFERENCE = Path(__file__).parent / "reference"
LONG = (
    "advice/test_barley_page.py",
    "advice/test_days_to_harvest.py",
    "advice/test_large_ledgers.py",
    "advice/test_posterior.py",
    "analysis/test_advising.py",
    "analysis/test_bucket_records.py",
    "analysis/test_checks.py",
    "analysis/test_layout_kinds.py",
    "analysis/test_oats.py",
    "analysis/test_other_readings.py",
    "analysis/test_partial_records.py",
    "analysis/test_small_trials.py",
    "cli",
    "damaged",
    "desk/test_begun.py",
    "desk/test_every_page.py",
    "desk/test_kills.py",
    "desk/test_post_room.py",
    "documents/test_every_file_read.py",
    "evidence/test_commands.py",
    "evidence/test_recommending.py",
    "evidence/test_withstanding.py",
    "layouts/test_bench.py",
    "layouts/test_incomplete_blocks.py",
    "layouts/test_latin_squares.py",
    "layouts/test_randomisation.py",
    "mixed/test_properties.py",
    "mixed/test_question_reference.py",
    "mixed/test_reference.py",
    "mixed/test_refit.py",
    "planning/test_example_trials.py",
    "planning/test_executors.py",
    "planning/test_invented_county.py",
    "planning/test_plan.py",
    "planning/test_trial_value.py",
    "protocol/test_lots.py",
    "report",
    "returns",
    "rules/test_check.py",
    "rules/test_isolation.py",
    "rules/test_unrandomised.py",
    "solution/test_acid_steps.py",
    "test_packaging.py",
)
"""Folders and modules that take more than five seconds of a processor, as measured; the others are quick."""
COSTLY = {"playwright", "seasons", "example_results"}
"""Fixtures that take as long: a test of another module that asks for one is not quick either."""


@dataclass(frozen=True)
class Case:
    """A reference case: what a correct program must find, and the data to find it in."""

    expected: dict[str, Any]
    data: pd.DataFrame

    @property
    def formula(self) -> str:
        """The fixed part, which R and we write alike."""
        return str(self.expected["model"]["r_formula"]).split(" + (1")[0]

    @property
    def random(self) -> list[str]:
        """Names of the random terms."""
        return list(self.expected["model"].get("random_terms", []))

    @property
    def columns(self) -> dict[str, str]:
        """Our column names by R's."""
        return {self._as_r(name): name for name in self.fit().model.fixed.names}

    def _as_r(self, name: str) -> str:
        return "(Intercept)" if name == "Intercept" else name.replace("[T.", "").replace("]", "")

    def fit(self, **options: Any) -> MixedFit:
        """Fit the case's model."""
        return fit_mixed(self.data, self.formula, random=self.random, **options)

    def contrasts(self, block: dict[str, Any], fit: MixedFit) -> np.ndarray:
        """Rows of a reference contrast matrix over our model-matrix columns."""
        position = {self._as_r(name): i for i, name in enumerate(fit.model.fixed.names)}
        matrix = np.zeros((len(block["matrix"]), len(position)))
        matrix[:, [position[term] for term in block["terms"]]] = block["matrix"]
        return matrix


def load_case(folder: str, name: str) -> Case:
    """Read a reference case; factor and grouping columns stay text, in the levels' stated order."""
    expected = json.loads((REFERENCE / folder / f"{name}.json").read_text(encoding="utf-8"))
    data = pd.read_csv(REFERENCE / folder / expected["data"]["file"], dtype=str, keep_default_na=False)
    levels = expected["data"].get("factor_levels_in_order", {})
    for column in data:
        if column in levels:
            data[column] = pd.Categorical(data[column], categories=levels[column])
        elif column not in expected["data"].get("grouping_columns", []):
            data[column] = data[column].astype(float)
    return Case(expected, data)


@cache
def case_names(folder: str, kind: str) -> list[str]:
    """Names of the cases of one kind in a folder of tests/reference."""
    paths = sorted((REFERENCE / folder).glob("*.json"))
    return [path.stem for path in paths if kind in json.loads(path.read_text(encoding="utf-8"))["kind"]]


def pytest_collection_finish() -> None:
    """Leave what was collected out of every later search for garbage: thousands of tests would be walked each time."""
    gc.collect()
    gc.freeze()


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark as quick what neither takes long, as measured, nor opens a browser."""
    for item in items:
        if not COSTLY & set(getattr(item, "fixturenames", ())) and not is_long(item.path):
            item.add_marker("quick")


@cache
def is_long(path: Path) -> bool:
    """Whether a module is listed as taking long, or in a folder that is."""
    return any(path.is_relative_to(Path(__file__).parent / name) for name in LONG)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run a test that takes ``mixed_case`` (or another folder's case) once for each case of that folder."""
    for fixture, (folder, kind) in CASES.items():
        if fixture in metafunc.fixturenames:
            metafunc.parametrize(fixture, case_names(folder, kind), indirect=True)


# Fixture -> (folder, what its cases' kind says).
CASES = {
    "mixed_case": ("mixed_models", ""),
    "comparison_case": ("multiple_comparisons", ""),
    "nist_case": ("nist_strd", "analysis of variance"),
}


def _case_fixture(name: str) -> Any:
    @pytest.fixture(name=name, scope="session")
    def fixture(request: pytest.FixtureRequest) -> Case:
        return load_case(CASES[name][0], request.param)

    return fixture


mixed_case = _case_fixture("mixed_case")
comparison_case = _case_fixture("comparison_case")
nist_case = _case_fixture("nist_case")


@pytest.fixture(scope="session")
def example_results(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Results]:
    """Results of a bundled trial by its name, each analysed once."""
    return cache(
        lambda name: value_once(tmp_path_factory, f"results-{name}", lambda: analyse(read_trial(EXAMPLES / name)))
    )


@pytest.fixture(scope="session")
def world(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Trials and a ledger for everything that writes; not to be changed."""
    from writing_commands import make_world

    return once(tmp_path_factory, "world of commands", make_world)


@pytest.fixture(scope="session")
def playwright() -> Iterator[Any]:
    """Playwright, where it and a browser are installed; it can be started once in a process only."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if not CHROMIUM.exists():
        pytest.skip(f"no Chromium at {CHROMIUM}: set CHROMIUM to its path")
    with api.sync_playwright() as started:
        yield started


@pytest.fixture(scope="session")
def browser(playwright: Any) -> Iterator[Any]:
    """Chromium, headless."""
    running = playwright.chromium.launch(executable_path=str(CHROMIUM), args=list(ARGUMENTS))
    yield running
    running.close()


@pytest.fixture(scope="session")
def window(browser: Any) -> Window:
    """One window for all pages that need none of their own."""
    return Window(browser)
