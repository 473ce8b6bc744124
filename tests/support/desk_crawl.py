"""Every page of a desk that its links lead to, and every form that they offer."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any
from urllib.parse import urljoin

from werkzeug.exceptions import HTTPException

from desk_visitor import HOST, Visitor
from english_left import EMPTY

FOLLOWED = {("a", "href"), ("link", "href"), ("script", "src"), ("form", "data-answer")}


@dataclass
class Page(HTMLParser):
    """What a page of the desk offers, and what of it is declared to be English."""

    text: str
    title: str = ""
    links: set[str] = field(default_factory=set)
    forms: set[tuple[str, str]] = field(default_factory=set)
    english: list[tuple[str, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Read it."""
        super().__init__(convert_charrefs=True)
        self._open: list[tuple[str, bool]] = []
        self.feed(self.text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note links and forms."""
        told = {name: value or "" for name, value in attrs}
        self.links |= {told[name] for kind, name in FOLLOWED if kind == tag and told.get(name)}
        if tag == "form":
            self.forms.add((told.get("method", "get").upper(), told.get("action", "")))
        if "data-job" in told:
            self.links.add(f"/job/{told['data-job']}/state")
        if tag not in EMPTY:
            is_english = tag != "html" and told.get("lang", "").startswith("en")
            self._open.append((tag, is_english))
            if is_english:
                self.english.append((tag, ""))

    def handle_endtag(self, tag: str) -> None:
        """Leave an element."""
        while self._open and self._open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        """Note the title, and what is English."""
        if self._open and self._open[-1][0] == "title":
            self.title += data
        if any(is_english for _, is_english in self._open):
            tag, before = self.english[-1]
            self.english[-1] = (tag, before + data)


@dataclass
class Crawled:
    """What a crawl found: answers by path, pages of the desk by path, and the endpoints that were asked or offered."""

    answers: dict[str, Any] = field(default_factory=dict)
    pages: dict[str, Page] = field(default_factory=dict)
    reached: set[tuple[str, str]] = field(default_factory=set)


def crawl(visitor: Visitor, *starts: str) -> Crawled:
    """Ask for every page that links and forms without effect lead to, from the first page of a desk and some others."""
    found, waiting = Crawled(), ["/", *starts]
    while waiting:
        path = waiting.pop(0)
        if path in found.answers:
            continue
        endpoint = _endpoint(visitor, "GET", path)
        found.answers[path] = answer = visitor.get(path)
        found.reached.add(("GET", endpoint))
        if answer.mimetype != "text/html" or endpoint.endswith(".file"):  # what was published is no page of the desk
            continue
        found.pages[path] = page = Page(answer.text)
        offered = {("GET", link) for link in page.links} | page.forms
        for method, link in sorted(offered):
            target = urljoin(path, link).partition("#")[0]
            if not target.startswith("/"):
                continue
            if method == "GET":
                waiting.append(target)
            else:
                found.reached.add((method, _endpoint(visitor, method, target)))
    return found


def _endpoint(visitor: Visitor, method: str, path: str) -> str:
    application = visitor.client.application
    try:
        endpoint, _ = application.url_map.bind(HOST).match(path.partition("?")[0], method)
    except HTTPException as error:
        raise AssertionError(f"{method} {path} leads nowhere") from error
    return str(endpoint)
