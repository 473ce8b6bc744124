"""Pictures: findings in words, data beside them, nothing that the page cannot dress."""

from __future__ import annotations

import gc
import re
import xml.etree.ElementTree as ET
from typing import Any

import pytest
from matplotlib.artist import Artist

from trialkit.pages.palette import LIGHT
from trialkit.pages.safe_text import safe_document
from trialkit.report.figures import pictures
from trialkit.report.figures.inline_svg import inline_svg
from trialkit.report.figures.sheet import draw_twice, new_axes, new_figure, say
from trialkit.report.reading import Reading
from trialkit.words.measures import kitchen_words

EXPECTED = {
    "full": ["treatments", "dose", "gardens", "days"],
    "variety": ["treatments", "gardens", "days"],
    "cultivar and acid": ["treatments", "levels", "gardens", "days"],
    "split plot": ["treatments", "dose", "gardens"],
    "volunteers": ["treatments", "gardens", "days"],
    "days only": ["treatments", "dose", "gardens"],
    "undecided": [],
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
        assert kitchen_words(picture.finding) in picture.alternative
        assert re.search(r"\d", kitchen_words(picture.finding))
        assert picture.tables
        assert picture.alternative.startswith("Chart of ")


def test_the_finding_gives_the_difference_and_its_interval(pages: Any) -> None:
    """The first picture's heading says what was gained, and how sure."""
    results = pages.results("full")
    rows = results.responses["weight_g"].comparisons
    row = next(row for row in rows if row.treatment == results.decision.recommended)
    (first, *_), _ = pages.pictures("full")
    assert f"gave {row.difference:.1f} g more than the current practice" in first.finding
    assert f"+{row.lower:.1f} to +{row.upper:.1f} g" in first.finding


def test_a_kept_default_is_set_beside_its_best_alternative(pages: Any) -> None:
    """Where nothing changes, the pictures still show what the alternative would bring."""
    made, _ = pages.pictures("keep")
    first, gardens = made[0], next(picture for picture in made if picture.name == "gardens")
    assert first.finding.startswith("The best alternative gave ")
    assert "best alternative treatment was ahead" in gardens.finding


def test_gardens_are_counted_for_and_against(pages: Any) -> None:
    """The third picture's heading counts the gardens where the recommended treatment was ahead."""
    results = pages.results("full")
    found = {(row.site, row.treatment): row.mean for row in results.responses["weight_g"].site_means}
    new, old = results.decision.recommended, results.decision.current
    ahead = sum(found[site.site, new] > found[site.site, old] for site in results.design.sites)
    made, _ = pages.pictures("full")
    gardens = next(picture for picture in made if picture.name == "gardens")
    assert f"ahead of the current practice at {ahead} of 4 gardens" in gardens.finding


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
    buckets = len(pages.results("full").responses["weight_g"].buckets)
    assert buckets == len(re.findall(r"<use [^>]*f-raw", first.wide))
    assert buckets == len(re.findall(r"<use [^>]*f-raw", first.narrow))


def test_axes_carry_units(pages: Any) -> None:
    """Ticks and titles say what is measured and in which unit."""
    made, _ = pages.pictures("full")
    for picture in made:
        what, unit = ("days to harvest, days", "days") if picture.name == "days" else ("head weight, g", "g")
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
