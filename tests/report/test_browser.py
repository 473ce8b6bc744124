"""The page in a real browser: quiet, accessible, readable on a phone, whole on paper."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

MODES = {
    "light": {"color_scheme": "light", "media": "screen"},
    "dark": {"color_scheme": "dark", "media": "screen"},
    "print": {"color_scheme": "light", "media": "print"},
}
PAPER_PX = {"A4": (794, 1123), "Letter": (816, 1056)}  # at 96 pixels an inch
MARGINS_MM = (28.0, 24.0)
SEEN = (
    "full",
    "variety",
    "cultivar and acid",
    "undecided",
    "hostile",
    "bare",
    "retest",
    "plan",
    "hostile plan",
    "check",
    "hostile check",
    "evidence",
    "hostile evidence",
    "handout",
    "hostile handout",
)
WCAG_22 = {"resultTypes": ["violations"], "rules": {"target-size": {"enabled": True}}}
"""The checker leaves the rule of WCAG 2.2, 2.5.8 out unless it is asked for."""
KINDS = ("plan", "check", "evidence", "handout")
"""One page of each other kind."""


def _open(browser: Any, page: str, folder: Path, **options: Any) -> tuple[Any, list[str], list[str]]:
    """Open a page from disk; collect what it says on the console and what it asks the network for."""
    path = folder / "report.html"
    path.write_text(page, encoding="utf-8")
    opened = browser.new_context(offline=True, **options).new_page()
    said: list[str] = []
    asked: list[str] = []
    opened.on("console", lambda message: said.append(message.text))
    opened.on("pageerror", lambda error: said.append(str(error)))
    opened.on("request", lambda request: asked.append(request.url))
    opened.goto(path.as_uri())
    return opened, said, asked


@pytest.mark.parametrize("seen", SEEN)
def test_the_browser_has_nothing_to_complain_of_and_nothing_to_fetch(
    browser: Any, pages: Any, tmp_path: Path, seen: str
) -> None:
    """No console message (a breach of the page's own policy would be one) and no request beyond the page itself."""
    opened, said, asked = _open(browser, pages[seen], tmp_path)
    assert said == []
    assert [url for url in asked if not url.startswith(("data:", opened.url))] == []
    opened.context.close()


@pytest.mark.parametrize(
    ("seen", "mode", "width"),
    [
        *(("full", mode, width) for mode in MODES for width in (360, 1280)),
        *((seen, "light", 360) for seen in SEEN[1:]),
        *((seen, "dark", 1280) for seen in SEEN[1:]),
        *((kind, "print", 1280) for kind in KINDS),
    ],
)
def test_axe_finds_nothing(browser: Any, pages: Any, tmp_path: Path, seen: str, mode: str, width: int) -> None:
    """The accessibility checker has no finding in light, dark and print, with every table folded out."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    options = MODES[mode]
    opened, _, _ = _open(
        browser,
        pages[seen],
        tmp_path,
        viewport={"width": width, "height": 800},
        color_scheme=options["color_scheme"],
        reduced_motion="reduce",
        bypass_csp=True,  # the checker is a script, which the page would refuse
    )
    opened.emulate_media(media=options["media"], color_scheme=options["color_scheme"])
    opened.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
    found = axe.run(opened, options=WCAG_22).response["violations"]
    assert [(one["id"], [node["html"][:120] for node in one["nodes"][:3]]) for one in found] == []
    opened.context.close()


def test_a_phone_never_scrolls_sideways(browser: Any, pages: Any, tmp_path: Path, name: str) -> None:
    """At 360 pixels the page fits, with every table folded out, and the drawings for phones are shown."""
    opened, _, _ = _open(browser, pages[name], tmp_path, viewport={"width": 360, "height": 740})
    opened.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
    assert opened.evaluate("document.documentElement.scrollWidth") <= 360
    assert opened.locator(".drawing .wide:visible").count() == 0
    assert opened.locator(".drawing .narrow:visible").count() == opened.locator("figure").count()
    opened.context.close()


@pytest.mark.parametrize("plan", ["plan", "hostile plan"])
def test_a_plan_fits_a_phone(browser: Any, pages: Any, tmp_path: Path, plan: str) -> None:
    """At 360 pixels the plan fits, its bench map too."""
    opened, _, _ = _open(browser, pages[plan], tmp_path, viewport={"width": 360, "height": 740})
    opened.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
    assert opened.evaluate("document.documentElement.scrollWidth") <= 360
    assert opened.locator(".drawing .narrow:visible").count() == opened.locator("figure").count() == 1
    opened.context.close()


@pytest.mark.parametrize("check", ["check", "hostile check"])
def test_a_check_fits_a_phone(browser: Any, pages: Any, tmp_path: Path, check: str) -> None:
    """At 360 pixels nothing runs over the edge."""
    opened, _, _ = _open(browser, pages[check], tmp_path, viewport={"width": 360, "height": 740})
    assert opened.evaluate("document.documentElement.scrollWidth") <= 360
    opened.context.close()


def test_text_in_drawings_is_large_enough_on_a_phone(browser: Any, pages: Any, tmp_path: Path) -> None:
    """No letter of a drawing is smaller than 9 pixels at 360 (common practice, no source)."""
    opened, _, _ = _open(browser, pages["full"], tmp_path, viewport={"width": 360, "height": 740})
    sizes = opened.evaluate(
        "[...document.querySelectorAll('.narrow svg')].map(svg =>"
        " svg.getBoundingClientRect().width / svg.viewBox.baseVal.width"
        " * Math.min(...[...svg.querySelectorAll('text')].map(t => parseFloat(getComputedStyle(t).fontSize))))"
    )
    assert min(sizes) >= 9
    opened.context.close()


@pytest.mark.parametrize("width", [360, 1280])
def test_no_label_of_a_drawing_is_cut_off(browser: Any, pages: Any, tmp_path: Path, width: int) -> None:
    """Every label stands inside its drawing."""
    opened, _, _ = _open(browser, pages["full"], tmp_path, viewport={"width": width, "height": 740})
    cut = opened.evaluate(
        "[...document.querySelectorAll('.drawing svg')].filter(svg => svg.getBoundingClientRect().width)"
        ".flatMap(svg => {"
        " const box = svg.getBoundingClientRect(); return [...svg.querySelectorAll('text')].filter(text => {"
        " const at = text.getBoundingClientRect();"
        " return at.left < box.left - 1 || at.right > box.right + 1"
        " || at.top < box.top - 1 || at.bottom > box.bottom + 1"
        " }).map(text => text.textContent) })"
    )
    assert cut == []
    opened.context.close()


@pytest.mark.parametrize("paper", PAPER_PX)
@pytest.mark.parametrize("seen", ["full", "volunteers", "split plot"])
def test_every_figure_fits_on_a_sheet(browser: Any, pages: Any, tmp_path: Path, paper: str, seen: str) -> None:
    """Printed on A4 or Letter, no drawing is wider or taller than what the margins leave."""
    width, height = (side - margin * 96 / 25.4 for side, margin in zip(PAPER_PX[paper], MARGINS_MM, strict=True))
    opened, _, _ = _open(browser, pages[seen], tmp_path, viewport={"width": int(width), "height": int(height)})
    opened.emulate_media(media="print")
    boxes = [figure.bounding_box() for figure in opened.locator("figure").all()]
    assert all(box["width"] <= width and box["height"] <= height for box in boxes)
    assert opened.evaluate("document.documentElement.scrollWidth") <= int(width)
    opened.context.close()


@pytest.mark.parametrize("page", ["evidence", "hostile evidence", "handout", "hostile handout"])
def test_evidence_fits_a_phone(browser: Any, pages: Any, tmp_path: Path, page: str) -> None:
    """At 360 pixels nothing runs over the edge, with every table folded out."""
    opened, _, _ = _open(browser, pages[page], tmp_path, viewport={"width": 360, "height": 740})
    opened.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
    assert opened.evaluate("document.documentElement.scrollWidth") <= 360
    opened.context.close()


@pytest.mark.parametrize("paper", PAPER_PX)
def test_the_handout_is_one_sheet_from_a_browser(browser: Any, pages: Any, tmp_path: Path, paper: str) -> None:
    """Printed on A4 or Letter it is one page."""
    opened, _, _ = _open(browser, pages["handout"], tmp_path)
    assert len(re.findall(rb"/Type\s*/Page\b", opened.pdf(format=paper))) == 1
    opened.context.close()


def test_the_page_prints(browser: Any, pages: Any, tmp_path: Path) -> None:
    """A PDF of the page has a plausible number of sheets."""
    opened, _, _ = _open(browser, pages["full"], tmp_path)
    pdf = opened.pdf(format="A4")
    assert 5 <= len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 20
    opened.context.close()


def test_the_first_tab_skips_to_the_answer(browser: Any, pages: Any, tmp_path: Path) -> None:
    """Whoever works by keyboard can go past the masthead at once."""
    opened, _, _ = _open(browser, pages["full"], tmp_path)
    opened.keyboard.press("Tab")
    assert opened.evaluate("document.activeElement.textContent") == "Skip to the answer"
    opened.keyboard.press("Enter")
    opened.wait_for_url("**#answer")
    opened.context.close()


def test_a_table_can_be_sorted_and_put_back(browser: Any, pages: Any, tmp_path: Path) -> None:
    """By numbers as numbers, up, down and as it was; the heading says which way."""
    opened, said, _ = _open(browser, pages["full"], tmp_path)
    table = opened.locator("table[data-sortable]", has=opened.locator("#treatments-buckets-caption"))
    opened.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
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
    assert said == []
    opened.context.close()


@pytest.mark.parametrize(("width", "kind"), [(1280, "wide"), (360, "narrow")])
def test_pointing_at_a_mean_shows_its_buckets(browser: Any, pages: Any, tmp_path: Path, width: int, kind: str) -> None:
    """By pointer and by keyboard: the words, and exactly the row's dots."""
    opened, said, _ = _open(
        browser,
        pages["full"],
        tmp_path,
        viewport={"width": width, "height": 900},
        reduced_motion="reduce",  # a page that still glides would have another row under the pointer
    )
    figure = opened.locator("figure").first
    rows, words = figure.locator(".probe-rows button"), figure.locator(".probe-words")
    buckets = pages.results("full").responses["weight_g"].buckets
    assert rows.count() > 2
    total = 0
    for i in range(rows.count()):
        rows.nth(i).hover()
        told = int(re.search(r"(\d+) buckets?, g:", words.inner_text()).group(1))  # type: ignore[union-attr]
        assert figure.locator(f".{kind} use.lit").count() == told
        total += told
    assert total == len(buckets)
    opened.mouse.move(0, 0)
    rows.first.focus()
    opened.keyboard.press("ArrowDown")
    assert rows.nth(1).get_attribute("aria-label") in words.inner_text()
    assert figure.locator(".probe-rows button[tabindex='0']").count() == 1
    box = rows.nth(1).bounding_box()
    assert box["height"] >= 24  # WCAG 2.2, 2.5.8 Target Size (Minimum)
    assert said == []
    opened.context.close()


def test_measures_can_be_switched(browser: Any, pages: Any, tmp_path: Path) -> None:
    """Both beside one another at first; then kitchen measures or metric ones alone, on the card as in sentences."""
    opened, _, _ = _open(browser, pages["full"], tmp_path)
    card, sentence = opened.locator(".default-card"), opened.locator(".sentence").first
    assert card.locator(".kitchen:visible").count() == card.locator(".metric:visible").count() > 0
    assert "6 level teaspoons (30\u00a0g) of nutrient" in sentence.inner_text()
    opened.check("#measures-metric")
    assert card.locator(".kitchen:visible").count() == 0
    assert card.locator(".metric:visible").count() > 0
    assert "with 30\u00a0g of nutrient" in sentence.inner_text()
    assert "teaspoon" not in sentence.inner_text()
    opened.check("#measures-kitchen")
    assert card.locator(".metric:visible").count() == 0
    assert "with 6 level teaspoons of nutrient" in sentence.inner_text()
    assert [one.count() for one in (opened.locator(".said.metric:visible"), opened.locator(".said.both:visible"))] == [
        0,
        0,
    ]
    opened.context.close()


@pytest.mark.parametrize("seen", ["full", "plan", "evidence"])
def test_a_page_is_complete_without_its_script(browser: Any, pages: Any, tmp_path: Path, seen: str) -> None:
    """With scripts off nothing is offered that does not work, every text is there, and measures still switch."""
    with_script, _, _ = _open(browser, pages[seen], tmp_path)
    opened, said, _ = _open(browser, pages[seen], tmp_path, java_script_enabled=False)
    assert opened.locator("th button, .probe-rows, .probe-words:visible").count() == 0
    every = "main > section"
    assert opened.locator(every).count() == with_script.locator(every).count()
    for i in range(opened.locator(every).count()):
        assert opened.locator(every).nth(i).inner_text().split() == _without_help(with_script, every, i)
    if seen == "full":
        opened.check("#measures-metric")
        assert opened.locator(".default-card .kitchen:visible").count() == 0
    assert said == []
    opened.context.close()
    with_script.context.close()


def _without_help(opened: Any, every: str, i: int) -> list[str]:
    """Words of a section, less those that tell how to point at a row."""
    opened.evaluate("document.querySelectorAll('.probe-words').forEach(one => { one.hidden = true })")
    words: list[str] = opened.locator(every).nth(i).inner_text().split()
    return words


@pytest.mark.parametrize("page", ["autumn_dose", "spring_dose", "volunteer_cultivars", "evidence"])
def test_tables_of_published_pages_fit_a_sheet(browser: Any, tmp_path: Path, page: str) -> None:
    """On A4, the narrower paper; a browser would shrink every page to fit the widest table."""
    text = (Path(__file__).parents[2] / "reports" / f"{page}.html").read_text(encoding="utf-8")
    width = int(PAPER_PX["A4"][0] - MARGINS_MM[0] / 25.4 * 96)
    opened, _, _ = _open(browser, text, tmp_path, viewport={"width": width, "height": 1000})
    opened.emulate_media(media="print")
    right = "[...document.querySelectorAll('table')].map(one => one.getBoundingClientRect().right)"
    assert max(opened.evaluate(right)) <= width + 1
    opened.context.close()
