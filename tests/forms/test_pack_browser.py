"""The printed pack in real Chromium: whole on A4 and Letter, readable on a phone, accessible, alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from laid_out_trial import laid_out
from trialkit.forms.pack import adviser_pack, garden_pack

PAPER_PX = {"A4": (794, 1123), "Letter": (816, 1056)}  # at 96 pixels an inch
MARGINS_PX = (2 * 14 * 96 / 25.4, 2 * 12 * 96 / 25.4)  # of the style sheet's @page, both sides
MODES = {
    "light": {"color_scheme": "light", "media": "screen"},
    "dark": {"color_scheme": "dark", "media": "screen"},
    "print": {"color_scheme": "light", "media": "print"},
}
UNBROKEN = ".label,.mixing,.record tr,.bench-line,.cautions li"


@pytest.fixture(params=["garden", "adviser", "hostile"])
def pack(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A garden's pack, the adviser's pages, and a pack whose names a stranger wrote."""
    names = {"site_name": "<img src=x onerror=alert(1)>", "title": "</style><script>alert(1)</script>"}
    trial = laid_out(tmp_path / "trial", **(names if request.param == "hostile" else {}))
    path = tmp_path / "pack.html"
    path.write_text(adviser_pack(trial) if request.param == "adviser" else garden_pack(trial, "FERN"), "utf-8")
    return path


@pytest.mark.parametrize("paper", PAPER_PX)
def test_nothing_is_cut_on_paper(browser: Any, pack: Path, paper: str) -> None:
    """At the paper's width nothing runs over; what must stay whole fits a page and may not be broken."""
    width, height = (size - margin for size, margin in zip(PAPER_PX[paper], MARGINS_PX, strict=True))
    page = browser.new_context(viewport={"width": int(width), "height": int(height)}).new_page()
    page.goto(pack.as_uri())
    page.emulate_media(media="print")
    assert page.evaluate("document.documentElement.scrollWidth") <= int(width)
    found = page.evaluate(
        "s => [...document.querySelectorAll(s)]"
        ".map(e => [e.offsetHeight, getComputedStyle(e).breakInside, e.className])",
        UNBROKEN,
    )
    assert found
    assert [one for one in found if one[0] > height or one[1] != "avoid"] == []
    assert page.pdf(format=paper, prefer_css_page_size=False).startswith(b"%PDF")
    page.context.close()


@pytest.mark.parametrize("mode", MODES)
def test_axe_finds_nothing(browser: Any, pack: Path, mode: str) -> None:
    """In light, dark and on paper; at 360 pixels nothing runs over the edge but tables, which scroll."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
    page = browser.new_context(viewport={"width": 360, "height": 740}).new_page()
    page.emulate_media(**MODES[mode])
    page.goto(pack.as_uri())
    found = axe.Axe().run(page, options={"rules": {"target-size": {"enabled": True}}}).response["violations"]
    assert [(one["id"], [node["target"] for node in one["nodes"]][:3]) for one in found] == []
    if mode != "print":
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.context.close()


def test_quiet_and_alone(browser: Any, pack: Path) -> None:
    """No console message, no dialog, no request beyond the file; hostile names are text."""
    page = browser.new_context(offline=True).new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", lambda dialog: said.append(dialog.message))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(pack.as_uri())
    assert said == []
    assert [url for url in asked if url != pack.as_uri() and not url.startswith("data:")] == []
    page.context.close()
