"""Fixtures of the report's tests: pages of invented trials, and a real browser to look at them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from unittest.mock import patch

import pytest

from honest_records import Records, write_records
from once import value_once
from sample_results import ANALYSED, BUNDLED, HOSTILE, NAMES, VARIANTS, VARIED
from small_plan import hostile_plan, small_plan
from small_recommended import small_recommended, spoilt_document
from trialkit.documents.document import as_written
from trialkit.documents.plan import Plan
from trialkit.documents.recommended import Recommended
from trialkit.documents.results import Results
from trialkit.layouts.layout_warning import LayoutWarning
from trialkit.report.care_page import care_html
from trialkit.report.check_page import check_html
from trialkit.report.evidence_page import evidence_html
from trialkit.report.figures import pictures
from trialkit.report.handout import handout_html
from trialkit.report.page import report_html
from trialkit.report.plan_page import plan_html
from trialkit.rules.trial_folder import check_trial


def check_page(*words: str) -> str:
    """Return the page of a check of records with slips of several kinds, and texts where they do not belong."""

    def spoil(records: Records) -> None:
        records.heads.loc[3, "weight_g"] = 1600.0
        records.heads.loc[7, "weight_g"] = float("nan")
        records.heads.loc[12:30, "weight_g"] = 5.0
        records.solution.loc[5, "ec_ms_cm"] *= 3
        records.heads = records.heads.drop(index=20).astype({"outcome": object})
        for row, word in enumerate(words, 40):
            records.heads.loc[row, "outcome"] = word
            records.heads.loc[row, "note"] = word

    with TemporaryDirectory() as folder:
        write_records(Path(folder), spoil)
        return check_html(check_trial(Path(folder)), words[0])


def hostile_recommended() -> Recommended:
    """Return recommended defaults whose every text was written by an attacker; none is read with half a character."""
    words = [word.encode("utf-8", "replace").decode() for word in HOSTILE]
    return spoilt_document(small_recommended(), iter(words * 10_000))


def enlarged_plan() -> Plan:
    """Return a plan for which a larger trial is proposed, with all that a card can tell."""
    limits = "[limits]\nbuckets_per_site = 16\nsites = 6\nvisits = 60"
    plan = small_plan(decision=f"cost_per_bucket = 1\nheads_a_year = 20_000\nprice_per_kg = 4\n{limits}")
    assert plan.proposed
    return replace(plan, warnings=(LayoutWarning("cannot be tested", effect="dose_tsp"),))


OTHERS: Mapping[str, Callable[[], str]] = {
    "plan": lambda: plan_html(small_plan()),
    "plan enlarged": lambda: plan_html(enlarged_plan()),
    "hostile plan": lambda: plan_html(hostile_plan(HOSTILE)),
    "check": lambda: check_page("harvestet", "?"),
    "hostile check": lambda: check_page(*(word.encode("utf-8", "replace").decode() for word in HOSTILE)),
    "evidence": lambda: evidence_html(small_recommended()),
    "hostile evidence": lambda: evidence_html(hostile_recommended()),
    "care": lambda: care_html(small_recommended()),
    "handout": lambda: handout_html(small_recommended()),
    "handout in Spanish": lambda: handout_html(small_recommended(), language="es"),
    "hostile handout": lambda: handout_html(hostile_recommended()),
}
"""Pages of other kinds than that of a trial's results."""


def drawn_page(results: Results) -> tuple[str, Any]:
    """Return the page of a trial, and its pictures."""
    drawn: list[Any] = []

    def draw(reading: Any) -> Any:
        drawn.append(pictures(reading))
        return drawn[0]

    with patch("trialkit.report.page.pictures", draw):
        return report_html(results), drawn[0]


class Pages:
    """Results and pages by the trial's name, each made once, however many processes run the tests."""

    def __init__(self, places: pytest.TempPathFactory, example_results: Callable[[str], Results]) -> None:
        self._places, self._example_results = places, example_results
        self.results, self._drawn = cache(self._results_of), cache(self._drawn_of)

    def _results_of(self, name: str) -> Results:
        if name in BUNDLED:
            return as_written(self._example_results(BUNDLED[name]))
        if name in VARIANTS:
            return VARIANTS[name](value_once(self._places, "sample varied", VARIED))
        return value_once(self._places, f"sample {name}", ANALYSED[name])

    def __getitem__(self, name: str) -> str:
        """Return a page."""
        return str(self._drawn(name)[0])

    def pictures(self, name: str) -> Any:
        """Return the pictures of a trial's page, and why one is missing."""
        return self._drawn(name)[1]

    def _drawn_of(self, name: str) -> tuple[str, Any]:
        make = (lambda: (OTHERS[name](), None)) if name in OTHERS else (lambda: drawn_page(self.results(name)))
        return value_once(self._places, f"page {name}", make)


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory, example_results: Callable[[str], Results]) -> Pages:
    """Pages of all sample trials."""
    return Pages(tmp_path_factory, example_results)


@pytest.fixture(params=NAMES)
def name(request: pytest.FixtureRequest) -> str:
    """Name of a sample trial; a test that takes it runs once for each."""
    return str(request.param)


@pytest.fixture(params=[*NAMES, *OTHERS])
def any_page(request: pytest.FixtureRequest) -> str:
    """Name of a page of any kind; a test that takes it runs once for each."""
    return str(request.param)
