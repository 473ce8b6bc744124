"""Pictures: findings in words, data beside them, nothing that the page cannot dress."""

from __future__ import annotations

import gc
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from typing import Any

import pytest
from matplotlib.artist import Artist

from trialkit.documents.decision import Stood
from trialkit.pages.palette import LIGHT
from trialkit.pages.safe_text import safe_document
from trialkit.report.figures import pictures
from trialkit.report.figures.inline_svg import inline_svg
from trialkit.report.figures.sheet import draw_twice, new_axes, new_figure, say
from trialkit.report.figures.treatment_pictures import candidate_rows
from trialkit.report.reading import Reading
from trialkit.words.measures import joined, kitchen_words

EXPECTED = {
    "full": ["treatments", "dose", "gardens", "days"],
    "variety": ["treatments", "gardens", "days"],
    "cultivar and acid": ["treatments", "levels", "gardens", "days"],
    "split plot": ["treatments", "dose", "gardens"],
    "volunteers": ["treatments", "gardens", "days"],
    "days only": ["days"],
    "undecided": [],
}


QUANTITIES = {
    "treatments": ("marketable weight per transplanted head, g", "g"),
    "dose": ("marketable weight per transplanted head, g", "g"),
    "gardens": ("head weight, g", "g"),
    "days": ("days to harvest, days", "days"),
}


@pytest.mark.parametrize(("name", "drawn"), EXPECTED.items())
def test_the_pictures_fit_what_was_varied(pages: Any, name: str, drawn: list[str]) -> None:
    """Without a dose there is no dose picture, and a sentence says so where nothing takes its place."""
    made, missing = pages.pictures(name)
    assert drawn == [picture.name for picture in made]
    assert bool(missing) == (not {"dose", "levels"} & set(drawn))


def test_every_picture_has_an_alternative_that_states_its_finding(pages: Any, name: str) -> None:
    """Whoever cannot see a picture is told what it shows, with numbers and units, and finds its data in a table."""
    made, _ = pages.pictures(name)
    for picture in made:
        finding, alternative = joined(picture.finding), joined(picture.alternative)
        for system in ("kitchen", "metric", "both"):
            assert getattr(finding, system) in getattr(alternative, system)
        assert re.search(r"\d", kitchen_words(picture.finding))
        assert picture.tables
        assert alternative.both.startswith("Chart of ")


def test_what_is_expected_stands_beside_what_was_recorded(pages: Any) -> None:
    """Every treatment tried has its raw mean and its estimate, the most valuable first."""
    results = pages.results("full")
    reading = Reading(safe_document(results))
    tried = [one for one in results.decision.candidates if one.stood.buckets]
    (first, *_), _ = pages.pictures("full")
    best = max(tried, key=lambda one: one.yield_g)
    assert first.finding.both.startswith("We expect most from ")
    assert f": {best.yield_g:.0f} g per transplanted head" in first.finding.both
    assert f": {best.yield_g / 28.349523125:.1f} oz per transplanted head" in kitchen_words(first.finding)
    drawn = candidate_rows(reading, results.decision, tried)
    assert [row.raw for row in drawn] == [one.raw_yield_g for one in tried]
    assert [row.mean for row in drawn] == [one.yield_g for one in tried]
    assert "because luck lifts the highest raw means" in first.reading
    heads = [kitchen_words(row.heading) for row in first.tables[0].rows]
    ranked = sorted(tried, key=lambda one: -one.expected_value)
    assert heads == [kitchen_words(reading.label(one.treatment)) for one in ranked]


def test_an_interval_is_that_of_the_gain(pages: Any) -> None:
    """Drawn from the practice's estimate, so that it crosses the dashed line where the gain may be a loss."""
    results = pages.results("full")
    decision = results.decision
    now = decision.candidate(decision.current).yield_g
    rows = candidate_rows(Reading(safe_document(results)), decision, decision.candidates)
    for row, one in zip(rows, decision.candidates, strict=True):
        gain = (one.gain.lower, one.gain.upper) if one.gain else (0.0, 0.0)
        assert (row.lower, row.upper) == pytest.approx((now + gain[0], now + gain[1]))


def test_raw_means_are_means_of_the_dots(pages: Any) -> None:
    """The open circle lies in the middle of its small dots."""
    results = pages.results("full")
    rows = candidate_rows(Reading(safe_document(results)), results.decision, results.decision.candidates)
    assert all(sum(row.buckets) / len(row.buckets) == pytest.approx(row.raw) for row in rows)


def test_the_dose_curve_is_that_of_the_decision(pages: Any) -> None:
    """Its table holds every point; the dose that the card names is pointed out, and so is the practice's."""
    results = pages.results("full")
    dose = next(picture for picture in pages.pictures("full")[0] if picture.name == "dose")
    assert len(dose.tables[0].rows) == len(results.decision.dose.points)
    recommended = f"recommended: {results.decision.recommended.dose_tsp:g} tsp"
    assert recommended in dose.wide
    assert recommended in dose.narrow
    assert f"current practice: {results.decision.current.dose_tsp:g} tsp" in dose.wide
    assert all(f">{point.buckets}<" in dose.wide for point in results.decision.dose.points if point.buckets)


def test_a_kept_default_is_set_beside_its_best_alternative(pages: Any) -> None:
    """Where nothing changes, the pictures still show what the alternative would bring."""
    made, _ = pages.pictures("keep")
    gardens = next(picture for picture in made if picture.name == "gardens")
    assert "triangle: best alternative" in made[0].reading
    assert "best alternative treatment was ahead" in gardens.finding.both


def test_a_dose_between_those_tried(pages: Any) -> None:
    """It stood in no garden: the one next to it is shown there, and said to be that; it is pointed out on the curve."""
    results = pages.results("full")
    decision = results.decision
    between = replace(decision.recommended, dose_tsp=7.0)
    chosen = replace(decision.chosen, treatment=between, stood=Stood(0, 0, 0), raw_yield_g=None)
    others = tuple(replace(one, is_recommended=False) for one in decision.candidates)
    decision = replace(decision, recommended=between, alternative=between, candidates=(*others, chosen))
    made, _ = pictures(Reading(safe_document(replace(results, decision=decision))))
    first, dose, gardens, _ = made
    assert "treatment that was tried and is nearest to the recommended one was ahead" in gardens.finding.both
    assert "recommended: 7 tsp" in dose.wide
    assert len(first.tables[0].rows) == len(others) + 1


def test_gardens_are_counted_for_and_against(pages: Any) -> None:
    """The third picture's heading counts the gardens where the recommended treatment was ahead."""
    results = pages.results("full")
    found = {(row.site, row.treatment): row.mean for row in results.responses["weight_g"].site_means}
    new, old = results.decision.recommended, results.decision.current
    ahead = sum(found[site.site, new] > found[site.site, old] for site in results.design.sites)
    made, _ = pages.pictures("full")
    gardens = next(picture for picture in made if picture.name == "gardens")
    assert f"ahead of the current practice at {ahead} of 4 gardens" in gardens.finding.both


def test_drawings_carry_roles_instead_of_colours(pages: Any, name: str) -> None:
    """A drawing follows the page into the dark, and names no address, no font and no style of its own."""
    made, _ = pages.pictures(name)
    for picture in made:
        for drawing in (picture.wide, picture.narrow):
            ET.fromstring(drawing)
            assert not re.search(r"#[0-9a-f]{6}\"|style=|http|<style|<metadata|font-family", drawing.split("<text")[0])
            assert 'aria-hidden="true"' in drawing


def test_every_raw_bucket_is_drawn(pages: Any) -> None:
    """The first picture has one dot for each bucket."""
    (first, *_), _ = pages.pictures("full")
    buckets = len(pages.results("full").responses["bucket_weight_g"].buckets)
    assert buckets == len(re.findall(r"<use [^>]*f-raw", first.wide))
    assert buckets == len(re.findall(r"<use [^>]*f-raw", first.narrow))


def test_axes_carry_units(pages: Any) -> None:
    """Ticks and titles say what is measured and in which unit."""
    made, _ = pages.pictures("full")
    for picture in made:
        what, unit = QUANTITIES[picture.name]
        assert what in picture.wide
        assert re.search(rf">[\d.]+ {unit}<", picture.narrow)
    assert "level teaspoons of nutrient a bucket" in made[1].narrow


def test_names_from_strangers_are_no_mathematics_and_no_markup() -> None:
    """Dollar signs and angle brackets are drawn as they are."""

    def draw(_is_narrow: bool) -> Any:
        figure = new_figure(200, 100)
        say(new_axes(figure, 10, 10, 180, 80), 0.5, 0.5, "$\\frac{1}{0}$ <script> & \u6f22")
        return figure

    drawing, _ = draw_twice("test", draw)
    assert "$\\frac{1}{0}$ &lt;script&gt; &amp; \u6f22" in drawing


def test_drawings_do_not_stay_in_memory(pages: Any) -> None:
    """By definition: a process that writes many pages must not grow by each (it did, by 574 marks and texts a page)."""
    results = pages.results("variety")

    def drawn() -> int:
        pictures(Reading(safe_document(results)))
        gc.collect()
        return sum(isinstance(one, Artist) for one in gc.get_objects())

    first = drawn()
    assert max(drawn() for _ in range(2)) < first + 200


def test_a_colour_without_a_role_is_refused() -> None:
    """A stray default colour would not follow the page into the dark."""
    figure = new_figure(100, 100)
    new_axes(figure, 0, 0, 100, 100).plot([0, 1], [0, 1], color="#123456")
    with pytest.raises(KeyError):
        inline_svg(figure, "test")
    assert "#123456" not in LIGHT.values()
