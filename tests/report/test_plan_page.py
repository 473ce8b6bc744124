"""The page of a plan."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from small_plan import small_plan
from trialkit.layouts.layout_warning import LayoutWarning
from trialkit.report.plan_page import plan_html


def test_what_the_trial_can_tell_comes_first(pages: Any) -> None:
    """The chance for the margin, the detectable difference and the width are said in two sentences."""
    page, difference = pages["plan"], small_plan().difference
    first = page.index("What the trial can tell</h2>")
    sentence = page.index("This trial would find a difference of 10")
    assert first < sentence < page.index("Which change buys most")
    assert f"{round(difference.power * 100)}" in page[sentence : sentence + 200]


def test_every_bucket_is_on_the_map(pages: Any) -> None:
    """Each identity stands once, under its garden, with the number of a treatment that the key explains."""
    page = pages["plan"]
    places = [place for bench in small_plan().benches for place in bench.places]
    for place in places:
        assert page.count(f"<small>{place.bucket}</small>") == 1
    assert len(re.findall(r"<li><b>[1-4]</b>", page)) == len(places)
    assert page.index("Treatments on the map") > page.index("Where each bucket stands")


def test_warnings_are_shown_before_the_picture(pages: Any) -> None:
    """What to look at before anything is sown stands above the curves."""
    page = plan_html(replace(small_plan(), warnings=(LayoutWarning("cannot be tested", effect="dose_tsp"),)))
    assert page.index("The effect of dose cannot be tested") < page.index("<figure")
    assert "To look at before anything is sown" not in plan_html(replace(small_plan(), warnings=()))
    assert pages["hostile plan"].count("<script") == 1  # the page's own


def test_the_calendar_the_list_and_the_cautions_are_there(pages: Any) -> None:
    """Dates in words, quantities, and the usual cautions."""
    page = pages["plan"]
    for text in (
        "6 August 2026",
        "Visit 1 of",
        "food-grade bucket with a tight lid",
        "seed of Fenleaf",
        "Add acid to water",
    ):
        assert text in page.replace("\u00a0", " ")


def test_the_same_plan_gives_the_same_page() -> None:
    """No clock and no chance in the page."""
    assert plan_html(small_plan()) == plan_html(small_plan())


def test_the_practice_is_told_before_the_map() -> None:
    """The key of the treatments marks the current practice, and stands before the benches that use its numbers."""
    page = plan_html(small_plan(doses="[2, 4, 6, 8]", current=4))
    key = page.index("Treatments on the map")
    assert key < page.index("current practice", key) < page.index('class="benches"')


def test_simulated_chances_say_how_far_they_may_be_off() -> None:
    """Two Monte-Carlo standard errors, in points, below the table of sizes; nothing where nothing was simulated."""
    plan = small_plan()
    simulated = replace(plan, sizes=tuple(replace(row, monte_carlo_se=0.011) for row in plan.sizes))
    assert "each chance may be off by 2 points either way" in plan_html(simulated).replace("\u00a0", " ")
    assert "may be off by" not in plan_html(plan)


def test_the_page_holds_every_measure() -> None:
    """A teaspoon of the product weighs 5 g; where nobody weighed one, there is nothing to switch."""
    plan = small_plan(doses="[2, 4, 6, 8]", current=4)
    page = plan_html(plan).replace("\u00a0", " ")
    for said in ("6 tsp<", "30 g<", "6 tsp (30 g)<"):
        assert said in page
    assert page.count('name="measures"') == 3
    unweighed = plan_html(replace(plan, nutrient_g_per_tsp=None)).replace("\u00a0", " ")
    assert "6 tsp" in unweighed
    assert 'name="measures"' not in unweighed
    assert 'class="said' not in unweighed
