"""One setting of the protocol: everything that is handed out keeps to the measures that it names."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from html import unescape
from typing import Literal

import pytest

from small_plan import small_plan
from small_recommended import small_recommended
from trialkit.documents.results import Results
from trialkit.domain.units import Measures
from trialkit.forms.pack import adviser_pack, garden_pack
from trialkit.report.care_page import care_html
from trialkit.report.evidence_page import evidence_html
from trialkit.report.handout import handout_html
from trialkit.report.page import report_html
from trialkit.report.plan_page import plan_html
from trialkit.rules.trial_folder import CheckedTrial
from units_told import KITCHEN, LITRES, foreign_units

ONE: tuple[Literal["kitchen", "metric"], ...] = ("kitchen", "metric")


def told(page: str) -> str:
    """Return what a page says, and what its drawings do, without what tells the units of the files to who types."""
    page = re.sub(r"<(style|script)\b.*?</\1>", " ", page, flags=re.DOTALL)
    page = re.sub(r'<span class="for-typing">.*?</span>', " ", page)
    spoken = " ".join(re.findall(r'aria-label="([^"]*)"', page))
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", page) + spoken))


def foreign(page: str, measures: Measures, *, of_weights: bool) -> list[str]:
    """List units of the other measures; grams count where no weight of lettuce is told."""
    return foreign_units(told(page), measures, of_weights=of_weights)


def in_setting(trial: CheckedTrial, measures: Measures) -> CheckedTrial:
    """Return a trial whose protocol asks for some measures."""
    about = trial.protocol.trial.model_copy(update={"measures": measures})
    return replace(trial, protocol=trial.protocol.model_copy(update={"trial": about}))


@pytest.mark.parametrize("measures", ONE)
def test_packs_keep_to_the_measures_asked_for(trial: CheckedTrial, measures: Measures) -> None:
    """Cautions, set-up and care, labels, maps and cards, of vinegar and of a powder."""
    citric = trial.products.assign(acid="citric", acid_pct_w_v=float("nan"), grams_per_tsp=4.6)
    powdered = replace(trial, products=trial.products.where(trial.products["kind"] != "acid", citric))
    for one in (trial, powdered):
        asked = in_setting(one, measures)
        for page in (garden_pack(asked, "FERN"), adviser_pack(asked)):
            left = foreign(page, measures, of_weights=True)
            allowed = ("teaspoon of powder", "powder: teaspoons") if measures == "metric" else ()  # the file's own unit
            assert [one for one in left if not any(words in one for words in allowed)] == []


@pytest.mark.parametrize("measures", ONE)
def test_the_handout_keeps_to_the_measures_asked_for(measures: Measures) -> None:
    """Both sheets, of a liquid and of a powder; with both asked for, both are told."""
    usual = replace(small_recommended(), measures=measures)
    powder = tuple(replace(row, solution_tsp=48 * row.acid_tsp, step_tsp=12.0) for row in usual.acid)
    for document in (usual, replace(usual, acid=powder)):
        assert foreign(handout_html(document), measures, of_weights=True) == []
        assert foreign(care_html(document), measures, of_weights=True) == []
    both = replace(usual, measures="both")
    for page in (handout_html(both), care_html(both)):
        assert KITCHEN.search(told(page))
        assert LITRES.search(told(page))


@pytest.mark.parametrize("measures", ONE)
def test_plan_and_evidence_keep_to_the_measures_asked_for(measures: Measures) -> None:
    """Doses, volumes, cautions; there is no switch where there is nothing to switch."""
    plan = plan_html(replace(small_plan(), measures=measures))
    assert foreign(plan, measures, of_weights=False) == []
    assert 'id="measures-both"' not in plan
    assert foreign(evidence_html(replace(small_recommended(), measures=measures)), measures, of_weights=True) == []


@pytest.mark.parametrize("measures", ONE)
def test_the_report_keeps_to_the_measures_asked_for(
    example_results: Callable[[str], Results], measures: Measures
) -> None:
    """Sentences, tables and pictures of a trial of doses."""
    results = example_results("autumn_dose")
    about = replace(results.trial, question="Which one?")  # its own says teaspoons
    page = report_html(replace(results, trial=about, design=replace(results.design, measures=measures)))
    assert foreign(page, measures, of_weights=False) == []
    assert 'id="measures-both"' not in page
    assert 'id="measures-both"' in report_html(results)
