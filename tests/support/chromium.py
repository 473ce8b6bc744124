"""The browser of the page tests: where it is, one window that shows page after page, and the accessibility checker."""

import os
import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = Path(os.environ.get("CHROMIUM", shutil.which("chromium") or "/usr/bin/chromium"))
ARGUMENTS = ("--no-sandbox",)
MODES = {
    "light": {"color_scheme": "light", "media": "screen"},
    "dark": {"color_scheme": "dark", "media": "screen"},
    "print": {"color_scheme": "light", "media": "print"},
}
OF_PAINT = ("color-contrast", "link-in-text-block", "target-size")
OF_LOOKS = (*OF_PAINT, "scrollable-region-focusable")
"""Rules of what colours, media and widths change: what a page is built of, they do not."""
VIOLATIONS = """options => axe.run(options).then(found => found.violations.map(one =>
  [one.id, one.nodes.slice(0, 3).map(node => node.html.slice(0, 120))]))"""
SELDOM = """() => {
  const met = (window.looksMet ??= {}), grounds = new Map([[null, '']]);
  const ground = one => {
    if (!grounds.has(one)) {
      const {backgroundColor, backgroundImage, opacity, position} = getComputedStyle(one);
      const own = [backgroundColor, backgroundImage, opacity, position].join(' ');
      const bare = own === 'rgba(0, 0, 0, 0) none 1 static';
      grounds.set(one, ground(one.parentElement) + (bare ? '' : `/${own}`));
    }
    return grounds.get(one);
  };
  for (const one of document.body.querySelectorAll('*')) {
    const written = one.matches('input, select, textarea') || [...one.childNodes].some(part => part.data?.trim());
    const isShown = written && one.checkVisibility({visibilityProperty: true});
    const {color, fontSize, fontWeight, textShadow} = isShown ? getComputedStyle(one) : {};
    const look = [ground(one), color, fontSize, fontWeight, textShadow, Boolean(one.closest(':disabled'))].join();
    if (isShown) met[look] = (met[look] || 0) + 1;
    one.toggleAttribute('data-seldom', isShown && met[look] <= 2);
  }
  axe.configure({rules: [{id: 'color-contrast', selector: '[data-seldom]'}]});
}"""
"""Has contrast asked of no more than two texts of one look, as the browser computes it, in all looks of the page."""
UNFOLD = "document.querySelectorAll('details').forEach(one => { one.open = true })"
UNSAID = """() => {
  if (document.querySelector('#measures-kitchen:checked, #measures-metric:checked')) return;
  document.querySelectorAll('.said:not(.both)').forEach(one => one.remove());
}"""
"""Takes away what is shown to nobody, in no look, as long as both systems of measures are asked for: the checker asks
for the style of each such element before it leaves it out."""
ALIKE = """() => {
  const built = one => [one, ...one.querySelectorAll('*')]
    .map(part => [part.tagName, ...['class', 'style', 'type', 'hidden'].map(name => part.getAttribute(name))]).join();
  for (const list of document.querySelectorAll('tbody, ul, ol, svg g')) {
    const met = {};
    for (const one of [...list.children]) {
      if (list.tagName === 'g' && one.tagName !== 'use') continue;
      const kind = built(one);
      met[kind] = (met[kind] || 0) + 1;
      if (met[kind] > 2) one.remove();
    }
  }
}"""
"""Takes away rows of a table or list and dots of a drawing built like two before them: other words, the same look."""


class Window:
    """One window, offline, for page after page: starting a new one costs more than most pages take to show.

    Attributes
    ----------
    page : playwright.sync_api.Page
    said, asked : list of str
        What the page shown says on the console, as an error or in a dialog, and what it asks the network for.
    """

    def __init__(self, browser: Any) -> None:
        self.page = browser.new_context(offline=True).new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("dialog", self._dismissed)
        self.page.on("request", lambda request: self.asked.append(request.url))

    def _dismissed(self, dialog: Any) -> None:
        self.said.append(dialog.message)
        dialog.dismiss()

    def show(self, path: Path, *, width: int = 1280, height: int = 720, still: bool = False) -> Any:
        """Show a page from disk, in light, as if in a new window: nothing of the page before is heard or pointed at.

        Parameters
        ----------
        path : Path
        width, height : int
            In pixels.
        still : bool
            Whether the reader asked for reduced motion.
        """
        self.page.goto("about:blank")
        self.page.mouse.move(0, 0)
        self.said.clear()
        self.asked.clear()
        self.page.set_viewport_size({"width": width, "height": height})
        motion = "reduce" if still else "no-preference"
        self.page.emulate_media(media="null", color_scheme="light", reduced_motion=motion)  # printed, it is in print
        self.page.goto(path.as_uri())
        return self.page

    def elsewhere(self) -> list[str]:
        """Return what the page asked for beyond itself."""
        return [url for url in self.asked if not url.startswith(("data:", self.page.url))]


def complaints(page: Any, *, only: tuple[str, ...] = (), but: tuple[str, ...] = ()) -> list[tuple[str, list[str]]]:
    """Return what the accessibility checker finds on a page as it stands: rules, and the elements that break them.

    The checker leaves the rule of WCAG 2.2, 2.5.8 (size of targets) out unless it is asked for.
    """
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed").Axe()
    rules = {"target-size": {"enabled": True}} | {name: {"enabled": False} for name in but}
    options = {"resultTypes": ["violations"], "rules": rules} | ({"runOnly": list(only)} if only else {})
    if not page.evaluate("'axe' in window"):
        page.evaluate(axe.axe_script)
    return [tuple(one) for one in page.evaluate(VIOLATIONS, options)]


def complaints_in(page: Any, others: Iterable[tuple[str, int]]) -> list[tuple[str, int, str, list[str]]]:
    """Return what the checker finds on a page as it stands, and then as it looks to others: modes and widths.

    Every row of every table is read once. Contrast and size are what the style sheet gives to elements and classes, and
    take most of the checker's time: they are asked of no more than two rows built alike, as all is with other looks.
    """
    page.evaluate(UNSAID)
    found = [("first", 0, *one) for one in complaints(page, but=OF_PAINT)]
    page.evaluate(ALIKE)
    page.evaluate(SELDOM)
    found += [("first", 0, *one) for one in complaints(page, only=OF_PAINT)]
    for mode, width in others:
        page.set_viewport_size({"width": width, "height": 800})
        page.emulate_media(**MODES[mode])
        page.evaluate(SELDOM)
        found += [(mode, width, *one) for one in complaints(page, only=OF_LOOKS)]
    return found


def serves_every_reader(page: Any, url: str) -> None:
    """Show a served page in light and dark, at a desk and on a phone, folds open: no complaint, nothing too wide."""
    for mode, width in (("light", 1280), ("dark", 1280), ("light", 390)):
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(**MODES[mode])
        page.goto(url)
        page.evaluate(UNFOLD)
        assert complaints(page) == [], (mode, width)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
