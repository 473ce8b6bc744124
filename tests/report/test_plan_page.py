"""The page of a plan."""

from __future__ import annotations

import html
import re
import tomllib
from dataclasses import replace
from functools import cache
from typing import Any, get_args
from xml.etree import ElementTree

import pytest

from small_plan import small_plan
from trialkit.documents.plan import LimitName, PlanVerdict
from trialkit.layouts.layout_warning import LayoutWarning
from trialkit.report.figures.value_against_cost import worth_picture
from trialkit.report.plan_page import plan_html
from trialkit.words.plan_words import design_words, verdict_words, what_to_do

LIMITED = "[limits]\nbuckets_per_site = 16\nsites = 6\nvisits = 60"
COSTED = "cost_per_bucket = 1\nheads_a_year = 20_000\nprice_per_kg = 4\n" + LIMITED


def said(page: str) -> str:
    """Return a page's text with plain spaces, without its tags."""
    return " ".join(html.unescape(re.sub(r"<[^>]*>", "", page)).replace("\u00a0", " ").split())


@cache
def page_of(**what: Any) -> str:
    """Make the page of a small plan, once for all tests that read it."""
    return plan_html(small_plan(**what))


def test_the_answer_comes_first(pages: Any) -> None:
    """One card, then one picture, then what could be wrong; tables and power are folded, for a statistician."""
    page, plan = pages["plan"], small_plan()
    order = [
        verdict_words(plan.verdict),
        "<dt>Run</dt>",
        "<dt>It takes</dt>",
        "<dt>By when</dt>",
        "What it should bring",
        "What it will find out",
        "<figure",
        "What could be wrong</h2>",
        "For the statistician</h2>",
        "What it brings and takes",
        "All designs that were compared",
        "would find a difference of 10",
    ]
    places = [page.index(one, page.index("<section")) for one in order]
    assert places == sorted(places)
    assert what_to_do(plan) in said(page)


@pytest.mark.parametrize("what", [{}, {"decision": LIMITED}, {"decision": COSTED}])
def test_the_card_is_of_the_design_that_is_proposed(what: dict[str, str]) -> None:
    """Its gardens, buckets, heads, visits and gain; beside it what was asked for, where that is another."""
    plan, page = small_plan(**what), page_of(**what)
    row = plan.designs[plan.proposed]
    card = said(page[page.index('class="answer-card') : page.index("</section>")])
    assert f"Run {design_words(row, plan)}" in card
    assert f"{row.buckets} buckets {row.buckets * row.heads} heads, {row.visits} visits of gardens" in card
    assert f"{row.value_g:.1f} g more a head" in card
    assert "Sow on 6 August 2026" in card
    assert (f"asked for: {design_words(plan.designs[0], plan)}" in card) == bool(plan.proposed)
    assert (f"It costs {row.cost:.0f} for its buckets" in card) == bool(row.cost)


def test_without_a_day_of_sowing_the_card_tells_days() -> None:
    """And where the day goes."""
    plan = small_plan()
    undated = replace(plan, calendar=tuple(replace(event, on=None) for event in plan.calendar))
    assert f"{plan.calendar[-1].day} days from sowing to the last harvest" in said(plan_html(undated))


@pytest.mark.parametrize("what", [{}, {"decision": LIMITED}, {"decision": COSTED}])
def test_the_first_table_agrees_with_the_table_of_designs(what: dict[str, str]) -> None:
    """Gain, buckets and visits of the trial asked for and of the one proposed are those of their rows."""
    plan, page = small_plan(**what), page_of(**what)
    versus, designs = (
        page[page.index(f'id="{name}-caption"') :].split("</table>")[0] for name in ("versus", "designs")
    )
    for at in {0, plan.proposed}:
        row = plan.designs[at]
        for cell in (f"{row.value_g:.1f}", str(row.buckets), str(row.visits)):
            assert cell in said(versus)
            assert cell in said(designs)
        assert design_words(row, plan) in said(designs)
    assert ("proposed" in said(versus)) == bool(plan.proposed)


def test_only_the_trial_asked_for_may_be_beyond_the_limits() -> None:
    """The table has no other that is, and the page says by how much this one is."""
    plan = small_plan(decision="[limits]\nbuckets_per_site = 4")
    assert "it goes beyond the limits. It asks for 8 buckets in a garden, where 4 is the most." in said(plan_html(plan))


def test_limits_are_told_and_how_to_state_them(pages: Any) -> None:
    """Who stated which, and a section that trial.toml takes as it stands."""
    page = said(pages["plan"])
    assert "As trial.toml asks for: at most 8 buckets in a garden and 2 heads in a bucket." in page
    assert "Twice as many as there are: at most 6 gardens." in page
    example = re.search(r"<code>(.*?)</code>", pages["plan"], re.S)
    assert example
    stated = tomllib.loads(example[1])["limits"]
    assert set(stated) == set(get_args(LimitName))
    assert small_plan(decision=example[1]).limits.stated == tuple(get_args(LimitName))


@pytest.mark.parametrize("what", [{}, {"decision": LIMITED}, {"decision": COSTED}])
def test_the_picture_has_the_design_asked_for(what: dict[str, str]) -> None:
    """It and the one proposed are named beside their marks, with gain, buckets and visits; every design is a mark."""
    plan = small_plan(**what)
    picture = worth_picture(plan)
    for drawing in (picture.wide, picture.narrow):
        asked = plan.designs[0]
        title = "as asked for, proposed" if plan.verdict is PlanVerdict.RUN else "as asked for"
        assert f"{title}: {asked.value_g:.1f} g" in drawing
        assert f"{asked.buckets} buckets, {asked.visits} visits" in drawing
        assert (f">proposed: {plan.designs[plan.proposed].value_g:.1f} g" in drawing) == bool(plan.proposed)
        assert drawing.count("<use") >= sum(not row.beyond for row in plan.designs)
    assert f"{plan.designs[0].value_g:.1f} g" in picture.alternative.both


@pytest.mark.parametrize("place", [at / 10 for at in range(11)])
def test_names_in_the_picture_meet_nothing(place: float) -> None:
    """Wherever the two designs lie, their names lie within the sheet, above and below every mark."""
    plan = small_plan(decision=LIMITED)
    low, high = 10, 110
    ends = (replace(plan.designs[1], buckets=low), replace(plan.designs[1], buckets=high, value_g=30.0))
    asked = replace(plan.designs[0], buckets=low + round(place * (high - low)))
    proposed = replace(plan.designs[1], buckets=high - round(place * (high - low)))
    drawn = worth_picture(replace(plan, designs=(asked, proposed, *ends), proposed=1, verdict=PlanVerdict.ENLARGE))
    for drawing in (drawn.wide, drawn.narrow):
        root = ElementTree.fromstring(drawing)
        width, height = (float(number) for number in root.attrib["viewBox"].split()[2:])
        marks = [float(use.attrib["y"]) for use in root.iter("use")]
        texts = {drawn_text(text): text for text in root.iter("text")}
        names = [one for text, one in texts.items() if "asked for" in text or "proposed" in text]
        assert len(names) == 2
        for one in names:
            x, y = at_of(one)
            half = 3.6 * len(drawn_text(one))
            assert half - 1 <= x <= width - half + 1
            assert not any(y - 14 < mark < y + 22 for mark in marks)
            assert 0 < y < height


def drawn_text(text: ElementTree.Element) -> str:
    """What a text says where both systems of measures are read."""
    said = text.find("tspan[@class='said both']")
    return "".join(text.itertext()) if said is None else said.text or ""


def at_of(text: ElementTree.Element) -> tuple[float, float]:
    """Where a text stands."""
    moved = re.search(r"translate\(([-\d.]+)[ ,]([-\d.]+)\)", text.get("transform", ""))
    return (float(moved[1]), float(moved[2])) if moved else (float(text.attrib["x"]), float(text.attrib["y"]))


def test_every_bucket_is_on_the_map(pages: Any) -> None:
    """Each identity stands once, under its garden, with the number of a treatment that the key explains."""
    page = pages["plan"]
    places = [place for bench in small_plan().benches for place in bench.places]
    for place in places:
        assert page.count(f"<small>{place.bucket}</small>") == 1
    assert len(re.findall(r"<li><b>[1-4]</b>", page)) == len(places)
    assert page.index("Treatments on the map") > page.index("Where each bucket stands")


def test_warnings_are_counted_on_the_card_and_told_below(pages: Any) -> None:
    """What to look at before anything is sown; degrees of freedom are for a statistician."""
    few = LayoutWarning("few error degrees of freedom", effect="cultivar", error_df=5)
    page = plan_html(replace(small_plan(), warnings=(LayoutWarning("cannot be tested", effect="dose_tsp"), few)))
    assert page.index("Look at 1 warning before you sow") < page.index("<figure")
    assert page.index("<figure") < page.index("The effect of dose cannot be tested") < page.index("Limits</h3>")
    assert page.index("5 degrees of freedom for error") > page.index("For the statistician</h2>")
    without = plan_html(replace(small_plan(), warnings=()))
    assert "To look at before anything is sown" not in without
    assert "before you sow" not in without
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


def test_the_same_plan_gives_the_same_page(pages: Any) -> None:
    """No clock and no chance in the page."""
    assert pages["plan"] == plan_html(small_plan())


def test_the_practice_is_told_before_the_map() -> None:
    """The key of the treatments marks the current practice, and stands before the benches that use its numbers."""
    page = page_of(doses="[2, 4, 6, 8]", current=4)
    key = page.index("Treatments on the map")
    assert key < page.index("current practice", key) < page.index('class="benches"')


def test_the_page_holds_every_measure() -> None:
    """A teaspoon of the product weighs 5 g; where nobody weighed one, doses stay in spoons and heads still switch.

    An ounce is 28.349523125 g (international avoirdupois pound, 1959).
    """
    plan = small_plan(doses="[2, 4, 6, 8]", current=4)
    page = page_of(doses="[2, 4, 6, 8]", current=4).replace("\u00a0", " ")
    for said in ("6 tsp<", "30 g<", "6 tsp (30 g)<"):
        assert said in page
    assert page.count('name="measures"') == 3
    unweighed = plan_html(replace(plan, nutrient_g_per_tsp=None)).replace("\u00a0", " ")
    assert "6 tsp" in unweighed
    assert "6 tsp (30 g)" not in unweighed
    assert unweighed.count('name="measures"') == 3
    value_g = plan.value.asked.value_g
    assert value_g > 10  # from here on, whole grams and tenths of an ounce
    assert f">{value_g:.0f} g</bdi>" in page
    assert f">{value_g / 28.349523125:.1f} oz</bdi>" in page
    kitchen = plan_html(replace(plan, measures="kitchen")).replace("\u00a0", " ")
    assert 'name="measures"' not in kitchen
    bring_g = (plan.value.proposed if plan.proposed else plan.value.asked).value_g
    assert f"{bring_g / 28.349523125:.1f} oz more a head" in kitchen
    assert "value, oz a head" in kitchen
