"""The page in a real browser: quiet, accessible, readable on a phone, whole on paper."""

from __future__ import annotations

import re
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from chromium import UNFOLD, Window, complaints_in
from units_told import KITCHEN, foreign_units

PAPER_PX = {"A4": (794, 1123), "Letter": (816, 1056)}  # at 96 pixels an inch
MARGINS_MM = (28.0, 26.0)
SEEN = (
    "full",
    "variety",
    "cultivar and acid",
    "undecided",
    "hostile",
    "bare",
    "keep and test again",
    "plan",
    "hostile plan",
    "check",
    "hostile check",
    "evidence",
    "hostile evidence",
    "handout",
    "handout in Spanish",
    "hostile handout",
    "care",
)
KINDS = ("plan", "check", "evidence", "handout", "care")
"""One page of each other kind."""
OTHER_LOOKS = (("dark", 1280), ("print", 1280), ("light", 1280), ("dark", 360), ("print", 360))


LABELS = """[...document.querySelectorAll('.drawing svg')].map(svg => {
  const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
  return [...svg.querySelectorAll('text')].map(text => {
    const at = text.getBoundingClientRect(), size = parseFloat(getComputedStyle(text).fontSize) * scale;
    return [size, at.left, at.right, at.top, at.bottom, text.textContent];
  }).filter(([size, left, right]) => size && right > left);
})"""
"""Of each drawing that is shown, its labels: their size in pixels, where they stand, and what they say."""
UNDER_LABELS = """() => {
  document.querySelector('main').replaceChildren(...document.querySelectorAll('.drawing'));
  document.querySelector('.masthead').remove();
  return [...document.querySelectorAll('.drawing text')].map(text => {
    const at = text.getBoundingClientRect();
    text.setAttribute('visibility', 'hidden');
    return [at.left, at.top, at.right, at.bottom, text.textContent];
  }).filter(([left, , right]) => right > left + 4);
}"""
"""Leaves nothing on the page but its drawings, takes their labels away, and says where each stood."""
STOPS = """() => {
  const all = [...document.querySelectorAll('a[href], summary, input, button, [tabindex="0"]')].filter(one =>
    one.checkVisibility() && !(one.type === 'radio' && !one.checked));
  return all.map((one, i) => { one.dataset.stop = i; return i; });
}"""
"""Where the tab key is to stop: of choices of which one holds, at that one."""
Show = Callable[..., Any]


@pytest.fixture
def show(window: Window, pages: Any, tmp_path: Path) -> Callable[..., Any]:
    """Show a sample trial's page from disk, with its tables folded out where that is asked for."""

    def shown(name: str, *, unfolded: bool = False, **options: Any) -> Any:
        path = tmp_path / "report.html"
        path.write_text(pages[name], encoding="utf-8")
        page = window.show(path, **options)
        if unfolded:
            page.evaluate(UNFOLD)
        return page

    return shown


def test_a_page_is_quiet_and_fits_a_phone(window: Window, show: Show, any_page: str) -> None:
    """No console message (a breach of the page's own policy would be one) and no request beyond the page itself.

    At 360 pixels nothing runs over the edge, with every table folded out, and the drawings for phones are shown.
    """
    page = show(any_page, width=360, height=740, unfolded=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert page.locator(".drawing .wide:visible").count() == 0
    assert page.locator(".drawing .narrow:visible").count() == page.locator("figure:has(.drawing)").count()
    assert (window.said, window.elsewhere()) == ([], [])
    page = show(any_page, width=1280, height=720, unfolded=True)  # a shown page takes long to become wider
    assert page.locator(".drawing .narrow:visible").count() == 0
    assert (window.said, window.elsewhere()) == ([], [])


@pytest.mark.parametrize("seen", SEEN)
def test_axe_finds_nothing(show: Show, seen: str) -> None:
    """The accessibility checker has no finding on the whole page in light, nor as it looks to others."""
    page = show(seen, width=360, height=800, still=True, unfolded=True)
    others = OTHER_LOOKS if seen == "full" else OTHER_LOOKS[: 2 if seen in KINDS else 1]
    assert complaints_in(page, others) == []


@pytest.mark.parametrize("width", [320, 1440])
@pytest.mark.parametrize("seen", ["full", "volunteers", "plan", "plan enlarged", "evidence"])
def test_every_label_of_every_drawing_can_be_read(show: Show, seen: str, width: int) -> None:
    """Down to a phone of 320 pixels no letter is smaller than 11 pixels, and no label lies on another.

    Sixteen treatments and twenty-four gardens are among what is drawn.
    """
    page = show(seen, width=width, height=740, unfolded=True)
    drawings = page.evaluate(LABELS)
    assert sum(map(len, drawings)) > 8
    for labels in drawings:
        assert min((size for size, *_ in labels), default=11.0) >= 11
        for i, (_, left, right, top, bottom, text) in enumerate(labels):
            for _, other_left, other_right, other_top, other_bottom, other in labels[:i]:
                apart = other_right <= left or right <= other_left or other_bottom <= top + 2 or bottom <= other_top + 2
                assert apart, (text, other)


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1440, 900)])
@pytest.mark.parametrize("seen", ["plan", "plan enlarged", "evidence", "check"])
def test_the_card_stands_whole_on_the_first_screen(show: Show, seen: str, width: int, height: int) -> None:
    """Of a plan that is proposed larger than asked for, too, with costs, a year's gain and a warning."""
    box = show(seen, width=width, height=height).locator(".answer-card").bounding_box()
    assert box["y"] + box["height"] <= height


@pytest.mark.parametrize("seen", ["full", "volunteers", "plan enlarged", "evidence"])
@pytest.mark.parametrize("width", [320, 1280])
def test_no_label_lies_on_a_line(show: Show, width: int, seen: str) -> None:
    """Under each label, itself taken away, the picture has one colour: no line, dot or edge strikes it out."""
    page = show(seen, width=width, height=740, still=True, unfolded=True)
    labels = page.evaluate(UNDER_LABELS)
    drawn = Image.open(BytesIO(page.screenshot(full_page=True))).convert("RGB")
    assert len(labels) > 8
    for left, top, right, bottom, text in labels:
        ground = drawn.crop((round(left) + 1, round(top) + 2, round(right) - 1, round(bottom) - 2))
        assert max(high - low for low, high in ground.getextrema()) < 12, text


@pytest.mark.parametrize("seen", ["full", "volunteers", "plan", "plan enlarged", "evidence"])
@pytest.mark.parametrize("width", [320, 1280])
def test_no_label_of_a_drawing_is_cut_off(show: Show, width: int, seen: str) -> None:
    """Every label stands inside its drawing."""
    page = show(seen, width=width, height=740, unfolded=True)
    cut = page.evaluate(
        "[...document.querySelectorAll('.drawing svg')].filter(svg => svg.getBoundingClientRect().width)"
        ".flatMap(svg => {"
        " const box = svg.getBoundingClientRect(); return [...svg.querySelectorAll('text')].filter(text => {"
        " const at = text.getBoundingClientRect();"
        " return at.right > at.left && (at.left < box.left - 1 || at.right > box.right + 1"
        " || at.top < box.top - 1 || at.bottom > box.bottom + 1)"
        " }).map(text => text.textContent) })"
    )
    assert cut == []


@pytest.mark.parametrize("paper", PAPER_PX)
@pytest.mark.parametrize("seen", ["full", "volunteers", "split plot"])
def test_every_figure_fits_on_a_sheet(show: Show, paper: str, seen: str) -> None:
    """Printed on A4 or Letter, no drawing is wider or taller than what the margins leave."""
    width, height = (side - margin * 96 / 25.4 for side, margin in zip(PAPER_PX[paper], MARGINS_MM, strict=True))
    page = show(seen, width=int(width), height=int(height))
    page.check("#whole-in-print")
    page.emulate_media(media="print")
    boxes = [figure.bounding_box() for figure in page.locator("figure").all()]
    assert all(box["width"] <= width and box["height"] <= height for box in boxes)
    assert page.evaluate("document.documentElement.scrollWidth") <= int(width)


@pytest.mark.parametrize("paper", PAPER_PX)
@pytest.mark.parametrize(("seen", "sides"), [("handout", 2), ("handout in Spanish", 2), ("care", 1)])
def test_the_handout_is_one_sheet_from_a_browser(show: Show, paper: str, seen: str, sides: int) -> None:
    """Printed on A4 or Letter it is one sheet of paper, and so is that of set-up and care that goes with it."""
    page = show(seen)
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper))) == sides


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1440, 900)])
@pytest.mark.parametrize("published", ["autumn_dose", "spring_dose", "volunteer_cultivars"])
def test_the_answer_stands_whole_on_the_first_screen(window: Window, published: str, width: int, height: int) -> None:
    """What to grow, how sure, what it brings and what to mind: one card."""
    page = window.show(Path(__file__).parents[2] / "reports" / f"{published}.html", width=width, height=height)
    box = page.locator(".answer-card").bounding_box()
    assert box["y"] + box["height"] <= height
    words = page.locator(".answer-card").inner_text()
    for said in ("Grow", "Feed", "What it brings", "How sure", "in\u00a0100", "What to mind"):
        assert said in words


@pytest.mark.parametrize(
    ("seen", "said"), [("full", "the answer"), ("plan", "what to do"), ("evidence", "what the trials say")]
)
def test_the_first_tab_skips_to_the_answer(show: Show, seen: str, said: str) -> None:
    """Whoever works by keyboard can go past the masthead at once."""
    page = show(seen)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == f"Skip to {said}"
    page.keyboard.press("Enter")
    page.wait_for_url("**#answer")


@pytest.mark.parametrize("seen", ["plan", "check", "evidence"])
def test_everything_is_reached_by_keyboard(show: Show, seen: str) -> None:
    """Each link, choice and table that scrolls is a stop of the tab key, in order, and seen to be it."""
    page = show(seen, width=320, height=740, still=True)
    wanted = page.evaluate(STOPS)
    assert (len(wanted) > 8) == (seen != "check")  # the check page has nothing to work
    for place in wanted:
        page.keyboard.press("Tab")
        at = page.evaluate("""() => {
          const one = document.activeElement, style = getComputedStyle(one), box = one.getBoundingClientRect();
          return [Number(one.dataset.stop), style.outlineStyle, box.top < innerHeight && box.bottom > 0];
        }""")
        assert at == [place, "solid", True]


@pytest.mark.parametrize("seen", ["full", "plan", "check", "evidence"])
@pytest.mark.parametrize("width", [320, 640])
def test_a_page_reflows(show: Show, seen: str, width: int) -> None:
    """On the narrowest phone, and on a desk of 1280 pixels at 200 % zoom, nothing is to be moved sideways."""
    page = show(seen, width=width, height=512, still=True, unfolded=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    cut = """[...document.querySelectorAll('main :is(p,li,h2,h3,dt,dd,summary,label):not(.unseen)')].filter(one =>
      one.checkVisibility() && one.scrollWidth > one.clientWidth + 1 && getComputedStyle(one).overflowX !== 'visible')
      .map(one => one.textContent)"""
    assert page.evaluate(cut) == []


@pytest.mark.parametrize("seen", ["full", "plan", "check", "evidence"])
def test_nothing_moves_for_who_asked_for_stillness(show: Show, seen: str) -> None:
    """No gliding, no animation, no change that takes time."""
    page = show(seen, still=True)
    moving = """[...document.querySelectorAll('*')].filter(one => {
      const style = getComputedStyle(one);
      return style.scrollBehavior !== 'auto' || style.transitionDuration !== '0s' || style.animationName !== 'none';
    }).length"""
    assert page.evaluate(moving) == 0


def test_a_table_can_be_sorted_and_put_back(window: Window, show: Show) -> None:
    """By numbers as numbers, up, down and as it was; the heading says which way."""
    page = show("full", unfolded=True)
    table = page.locator("table[data-sortable]", has=page.locator("#treatments-buckets-caption"))
    head = table.locator("thead th.number").first

    def means() -> list[float]:
        return [float(text) for text in table.locator("tbody td.number:nth-child(5)").all_inner_texts()]

    before = means()
    for order in (sorted(before), sorted(before, reverse=True), before):
        head.locator("button").press("Enter")
        assert means() == order
    assert before != sorted(before)
    assert head.get_attribute("aria-sort") is None
    head.locator("button").click()
    assert head.get_attribute("aria-sort") == "ascending"
    assert window.said == []


@pytest.mark.parametrize(("width", "kind"), [(1280, "wide"), (360, "narrow")])
def test_pointing_at_a_mean_shows_its_buckets(window: Window, show: Show, pages: Any, width: int, kind: str) -> None:
    """By pointer and by keyboard: the words, and exactly the row's dots."""
    # Still: a page that glides would have another row under the pointer.
    page = show("full", width=width, height=900, still=True)
    figure = page.locator("figure").first
    rows, words = figure.locator(".probe-rows button"), figure.locator(".probe-words")
    buckets = pages.results("full").responses["bucket_weight_g"].buckets
    assert rows.count() > 2
    total = 0
    for i in range(rows.count()):
        rows.nth(i).hover()
        told = int(re.search(r"(\d+) buckets?, g\.", words.inner_text()).group(1))  # type: ignore[union-attr]
        assert figure.locator(f".{kind} use.lit").count() == told
        total += told
    assert total == len(buckets)
    page.mouse.move(0, 0)
    rows.first.focus()
    page.keyboard.press("ArrowDown")
    assert rows.nth(1).inner_text() in words.inner_text()
    assert figure.locator(".probe-rows button[tabindex='0']").count() == 1
    box = rows.nth(1).bounding_box()
    assert box["height"] >= 24  # WCAG 2.2, 2.5.8 Target Size (Minimum)
    assert window.said == []


def test_measures_can_be_switched(show: Show) -> None:
    """Both beside one another at first; then kitchen measures or metric ones alone, on the card as in sentences."""
    page = show("full", unfolded=True)
    card, sentence = page.locator(".answer-card"), page.locator(".sentence").first
    assert [card.locator(f".said.{one}:visible").count() for one in ("kitchen", "metric")] == [0, 0]
    assert "8 level teaspoons (24\u00a0g)" in card.inner_text()
    assert "8 level teaspoons (24\u00a0g) of nutrient" in sentence.inner_text()
    page.check("#measures-metric")
    assert card.locator(".kitchen:visible").count() == 0
    assert card.locator(".metric:visible").count() > 0
    assert "with 24\u00a0g of nutrient" in sentence.inner_text()
    assert "teaspoon" not in sentence.inner_text()
    page.check("#measures-kitchen")
    assert card.locator(".metric:visible").count() == 0
    assert "with 8 level teaspoons of nutrient" in sentence.inner_text()
    assert [page.locator(f".said.{one}:visible").count() for one in ("metric", "both")] == [0, 0]


READ = """section => {
  const walker = document.createTreeWalker(document.querySelector(section), NodeFilter.SHOW_TEXT), read = [];
  while (walker.nextNode()) {
    const within = walker.currentNode.parentElement;
    if (within.checkVisibility() && !within.closest('#statistician')) read.push(walker.currentNode.data);
  }
  return read.join('\\n');
}"""
"""What is read of a page, by eyes or by a screen reader: its texts that are shown, but for a statistician's."""


@pytest.mark.parametrize(
    "seen", ["full", "volunteers", "plan", "plan enlarged", "evidence", "evidence for statisticians"]
)
def test_nothing_is_left_in_the_measures_that_were_not_chosen(show: Show, seen: str) -> None:
    """On cards, in sentences, tables, pictures, at axes and in cautions, all of it at one switch, unfolded.

    Of the evidence page the tables for a statistician too.
    """
    page = show(seen.removesuffix(" for statisticians"), unfolded=True)
    part = "#statistician" if seen.endswith("statisticians") else "main"
    read = READ.replace("&& !within.closest('#statistician')", "") if part == "#statistician" else READ
    for measures in ("kitchen", "metric"):
        page.check(f"#measures-{measures}")
        text = page.evaluate(read, part).replace("\u00a0", " ")
        left = foreign_units(text, measures, of_weights=True)
        powder = [one for one in left if "dissolved first" in one or "powder" in one]
        assert [one for one in left if one not in powder] == []
        assert bool(KITCHEN.search(text)) == (measures == "kitchen")


@pytest.mark.parametrize("measures", ["both", "kitchen", "metric"])
@pytest.mark.parametrize(
    ("seen", "table", "grams"), [("full", ".versus", 12), ("plan", ".table-frame:has(#key-caption)", 20)]
)
def test_short_names_switch_too(show: Show, seen: str, table: str, grams: int, measures: str) -> None:
    """In tables, in drawings and in the names of rows that can be pointed at, a dose is said in what was chosen."""
    page, dose = (
        show(seen, unfolded=True),
        {"both": f"4 tsp ({grams} g)", "kitchen": "4 tsp", "metric": f"{grams} g"}[measures],
    )
    page.check(f"#measures-{measures}")
    found = re.findall(
        rf"\b4 tsp(?: \({grams} g\))?|\b{grams} g", page.locator(table).first.inner_text().replace("\u00a0", " ")
    )
    assert set(found) == {dose}
    drawn = page.locator(".wide tspan.said:visible")
    assert set(drawn.evaluate_all("all => all.map(one => one.getAttribute('class'))")) == {f"said {measures}"}
    rows = page.locator(".probe-rows button").all_inner_texts()
    assert any(f"{dose}," in row.replace("\u00a0", " ") for row in rows) == (seen == "full")


@pytest.mark.parametrize("seen", ["full", "plan", "evidence", "check"])
def test_a_page_is_complete_without_its_script(browser: Any, show: Show, seen: str) -> None:
    """With scripts off nothing is offered that does not work, every text is there, and measures still switch."""
    with_script = show(seen)
    page = browser.new_context(offline=True, java_script_enabled=False).new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.goto(with_script.url)
    assert page.locator("th button, .probe-rows, .probe-words:visible").count() == 0
    every = "main > section"
    assert page.locator(every).count() == with_script.locator(every).count()
    assert _words(page, every) == _without_help(with_script, every)
    if seen != "check":  # records are told in the unit of their file
        page.check("#measures-metric")
        assert page.locator(".said.kitchen:visible, .said.both:visible").count() == 0
        assert page.locator(".answer-card .said.metric:visible").count() > 0
    assert said == []
    page.context.close()


def _words(page: Any, every: str) -> list[list[str]]:
    """Words of each section."""
    return [text.split() for text in page.locator(every).all_inner_texts()]


def _without_help(page: Any, every: str) -> list[list[str]]:
    """Words of each section, less those that tell how to point at a row."""
    page.evaluate("document.querySelectorAll('.probe-words, .probe-rows').forEach(one => { one.hidden = true })")
    return _words(page, every)


@pytest.mark.parametrize("published", ["autumn_dose", "spring_dose", "volunteer_cultivars", "evidence"])
def test_tables_of_published_pages_fit_a_sheet(window: Window, published: str) -> None:
    """On A4, the narrower paper; a browser would shrink every page to fit the widest table."""
    path = Path(__file__).parents[2] / "reports" / f"{published}.html"
    width = int(PAPER_PX["A4"][0] - MARGINS_MM[0] / 25.4 * 96)
    page = window.show(path, width=width, height=1000)
    page.emulate_media(media="print")
    right = "[...document.querySelectorAll('table')].map(one => one.getBoundingClientRect().right)"
    assert max(page.evaluate(right)) <= width + 1
