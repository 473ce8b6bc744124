"""What an adviser reads is in plain English: short sentences, and a first part that reads at a stated grade."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import get_args

import pytest

from page_lines import page_lines, template_lines
from sentences import module_sentences, sentences, too_long, words
from trialkit.documents.document import as_written
from trialkit.domain.units import Measures
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.exact import expected_power
from trialkit.planning.trial_plan import make_plan
from trialkit.report.plan_page import plan_html
from trialkit.rules.trial_folder import read_trial
from trialkit.steps.plan_steps import model_of
from trialkit.words.plan_words import summary

ROOT = Path(__file__).parents[2]
WORDS = (
    "budget_words",
    "cell_words",
    "check_words",
    "decision_words",
    "default_words",
    "departure_words",
    "dose_words",
    "factor_words",
    "garden_words",
    "layout_words",
    "loss_words",
    "missing_words",
    "model_words",
    "plan_words",
    "response_words",
    "setting_words",
    "shopping_words",
)
"""Modules of `trialkit.words` whose sentences are held to be short: name another, and its sentences are too."""
PAGES = ("answer", "doubts", "evidence_page", "page", "plan_page", "provenance", "reading", "tables", "water_tables")
"""Modules of `trialkit.report` that have sentences of their own."""
TEMPLATES = (
    "answer.html.jinja",
    "doubts.html.jinja",
    "evidence.html.jinja",
    "gardens.html.jinja",
    "pictures.html.jinja",
    "plan.html.jinja",
    "report.html.jinja",
    "statistician.html.jinja",
)
MODULES = (
    *(ROOT / "trialkit" / "words" / f"{name}.py" for name in WORDS),
    *(ROOT / "trialkit" / "report" / f"{name}.py" for name in PAGES),
    *sorted((ROOT / "trialkit" / "report" / "figures").glob("*.py")),
    ROOT / "trialkit" / "steps" / "summary.py",
)
TRIALS = ("autumn_dose", "spring_dose", "volunteer_cultivars")
PUBLISHED = (*TRIALS, "evidence")
FIRST = ("answer", "doubts", "gardens")
GRADE = 6
WAYS: tuple[Measures, ...] = get_args(Measures)


def published(name: str) -> str:
    """A page as it is published."""
    return (ROOT / "reports" / f"{name}.html").read_text("utf-8")


def long_lines(lines: Iterable[str]) -> list[str]:
    """Sentences of some lines that have too many words, each once."""
    return too_long(list(dict.fromkeys(one for line in lines for one in sentences(line))))


def test_what_is_read_of_a_page() -> None:
    """One way of measuring at a time, descriptions of pictures, and nothing of drawings or scripts."""
    page = (
        '<p id="a">Use <bdi class="said both">6 tsp (30 g)</bdi><bdi class="said kitchen">6 tsp</bdi><bdi '
        'class="said metric">30 g</bdi> of it.</p><div id="b" aria-label="A chart."><svg><text>5</text></svg></div>'
        "<script>no</script>"
    )
    assert page_lines(page) == ["Use 6 tsp (30 g) of it.", "A chart."]
    assert page_lines(page, "metric", ["a"]) == ["Use 30 g of it."]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_sentences_of_modules_are_short(path: Path) -> None:
    """As they stand in the code, each placeholder as one word."""
    assert too_long(module_sentences(path)) == []


@pytest.mark.parametrize("name", TEMPLATES)
def test_sentences_of_templates_are_short(name: str) -> None:
    """As they stand in the template, each placeholder as one word."""
    assert long_lines(template_lines(ROOT / "trialkit" / "report" / "templates" / name)) == []


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", PUBLISHED)
def test_sentences_of_published_pages_are_short(name: str, way: Measures) -> None:
    """With real names and numbers, in each way of measuring."""
    assert long_lines(page_lines(published(name), way)) == []


@pytest.mark.parametrize("name", TRIALS)
def test_sentences_of_plans_are_short(name: str) -> None:
    """Of the page of each example trial's plan, and of what the command prints, in each way of measuring."""
    trial = read_trial(ROOT / "example_trials" / name, stage="plan")
    plan = as_written(make_plan(trial, model_of(trial.protocol), Assumptions(), expected_power))
    assert long_lines(summary(plan)) == []
    for way in WAYS:
        assert long_lines(page_lines(plan_html(plan), way)) == []


@pytest.mark.parametrize("name", PUBLISHED)
def test_no_bracket_stands_within_another(name: str) -> None:
    """Neither on the page nor in what is read aloud of its pictures."""
    assert [line for line in page_lines(published(name)) if re.search(r"\([^()]*\(", line)] == []


@pytest.mark.parametrize("name", PUBLISHED)
def test_the_first_part_reads_at_a_stated_grade(name: str) -> None:
    """Answer, doubts and gardens, by Flesch and Kincaid; sentences alone, not rows of tables."""
    readability = pytest.importorskip("readability")
    lines = page_lines(published(name), "kitchen", FIRST)
    said = [one for line in lines for one in sentences(line) if one.endswith(".") and len(words(one)) > 3]
    assert len(said) > 10
    text = "\n".join(" ".join(re.findall(r"[A-Za-z']+", one)) + " ." for one in said)
    assert readability.getmeasures(text, lang="en")["readability grades"]["Kincaid"] <= GRADE
