"""Fixtures of the report's tests: pages of invented trials, and a real browser to look at them."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from types import ModuleType
from typing import Any

import pytest

from honest_records import Records, write_records
from small_plan import hostile_plan, small_plan
from small_recommended import small_recommended, spoilt_document
from trialkit.documents.plan import Plan
from trialkit.documents.recommended import Recommended
from trialkit.documents.results import Results
from trialkit.report.check_page import check_html
from trialkit.report.evidence_page import evidence_html
from trialkit.report.handout import handout_html
from trialkit.report.page import report_html
from trialkit.report.plan_page import plan_html
from trialkit.rules.trial_folder import check_trial


def _load_samples() -> ModuleType:
    """Load the module beside this file; under importlib mode a test folder is no package."""
    spec = importlib.util.spec_from_file_location("sample_results", Path(__file__).with_name("sample_results.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


samples = _load_samples()


def spoilt(document: dict[str, Any]) -> dict[str, Any]:
    """Return a document whose every text was written by an attacker."""
    words = iter(samples.HOSTILE * 10_000)

    def spoil(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: spoil(item) for key, item in value.items()}
        if isinstance(value, list | tuple):
            return [spoil(item) for item in value]
        return next(words) if isinstance(value, str) else value

    made: dict[str, Any] = spoil(document)
    return made


def spoilt_check(folder: Path, words: tuple[str, ...]) -> str:
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

    write_records(folder, spoil)
    return check_html(check_trial(folder), words[0])


PLANS: Mapping[str, Callable[[], Plan]] = {
    "plan": small_plan,
    "hostile plan": lambda: hostile_plan(samples.HOSTILE),
}


def hostile_recommended() -> Recommended:
    """Return recommended defaults whose every text was written by an attacker."""
    return spoilt_document(small_recommended(), iter(samples.HOSTILE * 10_000))


EVIDENCE: Mapping[str, tuple[Callable[[Recommended], str], Callable[[], Recommended]]] = {
    "evidence": (evidence_html, small_recommended),
    "hostile evidence": (evidence_html, hostile_recommended),
    "handout": (handout_html, small_recommended),
    "hostile handout": (handout_html, hostile_recommended),
}


class Pages:
    """Results and pages by the trial's name, each made once."""

    def __init__(self) -> None:
        self._results: dict[str, Results] = {}
        self._pages: dict[str, str] = {}

    def results(self, name: str) -> Results:
        """Results of a sample trial."""
        if name not in self._results:
            self._results[name] = samples.MAKERS[name]()
        return self._results[name]

    def __getitem__(self, name: str) -> str:
        """Return the page of a sample trial, or of a plan."""
        if name not in self._pages:
            self._pages[name] = self._made(name)
        return self._pages[name]

    def _made(self, name: str) -> str:
        if name.endswith("check"):
            writable = tuple(word.encode("utf-8", "replace").decode() for word in samples.HOSTILE)
            words = writable if name == "hostile check" else ("harvestet", "?")
            with TemporaryDirectory() as folder:
                return spoilt_check(Path(folder), words)
        if name in EVIDENCE:
            write, document = EVIDENCE[name]
            return write(document())
        plan = PLANS.get(name)
        return plan_html(plan()) if plan else report_html(self.results(name))


@pytest.fixture(scope="session")
def pages() -> Pages:
    """Pages of all sample trials."""
    return Pages()


@pytest.fixture(params=list(samples.MAKERS))
def name(request: pytest.FixtureRequest) -> str:
    """Name of a sample trial; a test that takes it runs once for each."""
    return str(request.param)
