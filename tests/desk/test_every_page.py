"""Every page of the desk that links lead to, over a folder with two seasons: its language, its title, its address."""

from __future__ import annotations

import csv
import io
import shutil
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import trialkit
from desk_crawl import Crawled, crawl
from desk_visitor import Visitor, told, visit
from english_left import english_left
from once import once
from returned_files import good_return
from trialkit.domain.table_names import TABLE_NAMES
from trialkit.evidence.ledger_index import ENTRIES, INDEX
from trialkit.languages import own_name
from trialkit.steps import evidence_steps
from trialkit.tables.table_schema import load_schema

POST = "/trial/fern/post/"
ELSEWHERE = {
    ("GET", "open"): ("test_guard.py", "/open"),
    ("POST", "front.stop_job"): ("test_in_chromium.py", "Stop it"),
    ("POST", "starting.keep"): ("test_every_page.py", "/new/keep"),
    ("POST", "answer.keep"): ("test_ledger_room.py", "answer/keep"),
    ("POST", "answer.replace"): ("test_ledger_room.py", "{here}replace"),
    ("POST", "ledger.readmit"): ("test_ledger_room.py", "/ledger/readmit"),
    ("POST", "garden.rejoin"): ("test_post_room.py", "MILL/rejoin"),
}
"""Routes that no page offers at these moments, and the test that asks for each, with what it asks for."""
ALIKE = ("trialkit", "trial.toml", "CC-BY-4.0", "How heavy?", *(f"{name}.csv" for name in TABLE_NAMES))
"""Names of files, commands and licences, and the heading of a dropped file, which are the same in every language."""


def two_seasons(folder: Path) -> None:
    """A season that is answered and in the ledger, the one that follows from it, and one whose records come in."""
    spring = trialkit.Trial.example("spring_dose", folder / "spring")
    spring.analyse()
    spring.report()
    spring.pack()
    ledger = trialkit.Ledger(folder / "ledger")
    ledger.add(folder / "spring")
    ledger.pool()
    with pytest.MonkeyPatch.context() as patch:  # the desk shows papers as they are: what is in them costs a minute
        patch.setattr(evidence_steps, "_as_pdf", lambda _: {})
        ledger.recommend("es")
    trialkit.Trial.following(folder / "autumn", folder / "ledger")
    good = good_return()
    good.write_trial(folder / "fern")
    trialkit.Trial(folder / "fern").forms()


@pytest.fixture(scope="module")
def seasons(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder with two seasons, made once."""
    return once(tmp_path_factory, "two seasons", two_seasons)


@pytest.fixture(scope="module")
def visited(seasons: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[str], Visitor]]:
    """Desks on copies of it, in a language, at which one of everything was done."""
    opened: dict[str, tuple[Visitor, Any]] = {}

    def visitor_in(language: str) -> Visitor:
        if language not in opened:
            folder = tmp_path_factory.mktemp(language) / "desk"
            shutil.copytree(seasons, folder)
            desk = visit(folder)
            visitor = next(desk)
            visitor.client.set_cookie("desk-language", language, domain="127.0.0.1")
            opened[language] = (visitor, desk)
            do_one_of_everything(visitor)
        return opened[language][0]

    yield visitor_in
    for _, desk in opened.values():
        next(desk, None)


def do_one_of_everything(visitor: Visitor) -> None:
    """Have what is shown only after something was done: a file that waits and one taken in, a correction, lists set."""
    good = good_return()
    assert drop(visitor, "fern.csv", good.csv()) == 303
    assert visitor.post(f"{POST}answers", {"do": "merge"}).status_code == 303
    bucket = good.buckets[0]
    row = visitor.get(f"{POST}correct?label={bucket}")
    assert row.status_code == 200
    assert drop(visitor, "fern again.csv", good.csv().replace("weight_g", "How heavy?", 1)) == 303
    begun = {"draft": f"{1:016x}", "at": "1", "question": "How heavy?"}
    assert visitor.post("/new/keep", begun).status_code == 204
    gardens = visitor.get("/trial/autumn/list/sites/")
    text = gardens.text.partition('<textarea id="text"')[2].partition(">\n")[2].partition("</textarea>")[0]
    seen = gardens.text.partition('name="seen" value="')[2].partition('"')[0]
    headings, first, *others = text.splitlines()
    changed = "\n".join([headings, *others, first])
    sent = {"go": "save", "seen": seen, "text": changed}
    assert visitor.post("/trial/autumn/list/sites/", sent).status_code == 303


def drop(visitor: Visitor, name: str, text: str) -> int:
    """Drop a returned file; return how that went."""
    return int(visitor.post(f"{POST}drop", {"files": [(io.BytesIO(text.encode()), name)]}).status_code)


@pytest.fixture(scope="module")
def crawled(visited: Callable[[str], Visitor]) -> Callable[[str], Crawled]:
    """What crawls found, by language."""
    found: dict[str, Crawled] = {}

    def crawled_in(language: str) -> Crawled:
        if language not in found:
            visitor = visited(language)
            found[language] = crawl(visitor, *starts(visitor))
        return found[language]

    return crawled_in


def starts(visitor: Visitor) -> list[str]:
    """Where forms lead that ask for something: a label, a job."""
    bucket = good_return().buckets[0]
    begun = visitor.post("/trial/fern/check")
    return [f"{POST}correct?label={bucket}", begun.location]


def names_in(folder: Path) -> list[str]:
    """What the trials of a folder call things: every text of their own."""
    names: set[str] = set()
    for path in folder.glob("*/*.csv"):
        rows = list(csv.DictReader(path.read_text("utf-8-sig").splitlines()))
        kept = load_schema(path.stem) if path.stem in ("sites", "products") else None
        names |= {name for row in rows[:1] for name in row}
        for row in rows:
            names |= {text for name, text in row.items() if text and not (kept and kept.field(name).enum)}
    for path in folder.glob("*/trial.toml"):
        names |= set(_texts(tomllib.loads(path.read_text("utf-8"))))
    return sorted(names)


def _texts(data: Any) -> Iterator[str]:
    if isinstance(data, dict):
        for key, value in data.items():
            yield from (key, *_texts(value))
    elif isinstance(data, list):
        for one in data:
            yield from _texts(one)
    elif isinstance(data, str):
        yield data


def test_every_page_of_a_spanish_desk_is_spanish(
    crawled: Callable[[str], Crawled], visited: Callable[[str], Visitor], seasons: Path
) -> None:
    """No text is English but the trials' own words; nothing else is declared to be English."""
    names = [*names_in(seasons), *ALIKE, str(visited("es").desk.workspace.folder)]
    found = crawled("es")
    left = {path: texts for path, page in found.pages.items() if (texts := english_left(page.text, names))}
    assert left == {}
    declared = {
        path: odd
        for path, page in found.pages.items()
        if (odd := [one for one in page.english if one[0] != "textarea" and one[1].strip() != own_name("en")])
    }
    assert declared == {}


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_page_is_there_and_has_a_title_of_its_own(crawled: Callable[[str], Crawled], language: str) -> None:
    """No link leads nowhere; a title is text, and tells the page from every other one in a row of tabs."""
    found = crawled(language)
    assert {path: answer.status_code for path, answer in found.answers.items() if answer.status_code != 200} == {}
    titles = {path: page.title for path, page in found.pages.items() if "?" not in path and "<html" in page.text}
    assert [title for title in titles.values() if "<" in title or not title.strip(" ·")] == []
    assert sorted(titles.values()) == sorted(set(titles.values()))


def test_every_route_is_reached(crawled: Callable[[str], Crawled], visited: Callable[[str], Visitor]) -> None:
    """What the desk answers to is linked, or offered by a form, or tried elsewhere by name."""
    rules = visited("en").client.application.url_map.iter_rules()
    routes = {(method, rule.endpoint) for rule in rules for method in (rule.methods or set()) & {"GET", "POST"}}
    assert routes - crawled("en").reached - set(ELSEWHERE) == set()
    assert set(ELSEWHERE) - routes == set(), "listed, and no longer there"
    for file, asked in ELSEWHERE.values():
        assert asked in (Path(__file__).parent / file).read_text("utf-8"), file


def test_a_spanish_desk_says_in_spanish_what_is_wrong_with_a_ledger(seasons: Path, tmp_path: Path) -> None:
    """A line that is none, a file that is gone, one that a stranger put there."""
    ledger = tmp_path / "desk" / "ledger"
    shutil.copytree(seasons / "ledger", ledger)
    with (ledger / INDEX).open("ab") as index:
        index.write(b"{}\n{")
    (entry,) = (ledger / ENTRIES).iterdir()
    (entry / "theirs.csv").write_text("x", "utf-8")
    names = [str(path) for path in (*ledger.rglob("*"), ledger)]
    (entry / "buckets.csv").unlink()
    for visitor in visit(tmp_path / "desk"):
        visitor.client.set_cookie("desk-language", "es", domain="127.0.0.1")
        page = visitor.get("/ledger/")
        for text in ("no tiene final", "Falta", "no va ahí", "no está como la escribió"):
            assert text in told(page)
        assert english_left(page.text, [*names, *names_in(seasons)]) == []
