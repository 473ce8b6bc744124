"""A trial started at the desk: what is typed, what is understood, and the commands that do the same."""

from __future__ import annotations

import shlex
from contextlib import chdir
from pathlib import Path
from typing import Any

import pytest

from commands import DONE, run
from contents import contents
from desk_visitor import Visitor, told

ASKED = {
    "question": "Which cultivar, and how many teaspoons?",
    "cultivars": "Fenleaf\r\nPaleheart, Fenleaf",
    "doses": "6 tsp\n4",
    "nutrient": "Gartenquell 4-18-38",
    "acidifiers": "white vinegar 5 %\nnone",
}
NOW = {
    "practice_cultivar": "Fenleaf",
    "practice_dose": "4",
    "practice_acidifier": "none",
    "product-1-n_pct": "4",
    "product-1-grams_per_tsp": "5.1",
    "product-2-acid": "acetic",
    "product-2-acid_pct_w_v": "5",
}
WHERE = {
    "gardens": "Garden\tLanguage\tAlkalinity (mg/L)\nFERN\tSpanish\t180\nSt. Mary's\t\t\n",
    "season": "spring 2028",
    "sow_on": "2028-02-01",
    "blocks": "2",
    "heads": "5",
    "blind": "true",
    "seed": "7",
}
ALL = {**ASKED, **NOW, **WHERE}


def _repeat(visitor: Visitor, into: Path) -> None:
    """Run the commands that the desk shows, on the files that it hands out with them."""
    into.mkdir()
    for lines, files in visitor.shown_deeds():
        for name, data in files.items():
            (into / name).write_bytes(data)
        with chdir(into):
            for line in lines:
                assert run(*shlex.split(line)[1:]).returncode == DONE, line
        for name in files:
            (into / name).unlink()


def test_a_trial_is_started_as_the_commands_would(visitor: Visitor, tmp_path: Path) -> None:
    """Four pages, one folder, byte for byte what `new` and `set` write; the files they read can be saved."""
    assert "What should the trial find out?" in told(visitor.get("/new/"))
    assert "Which cultivar do gardeners grow now?" in told(visitor.post("/new/", {**ASKED, "at": "1", "go": "2"}))
    third = visitor.post("/new/", {**ASKED, **NOW, "at": "2", "go": "3"})
    assert (third.status_code, "One a line, by a short name" in told(third)) == (200, True)
    last = visitor.post("/new/", {**ALL, "at": "3", "go": "4"})
    assert "FERN 180 es" in told(last)
    assert "St Marys St. Mary&#39;s" in told(last)
    assert visitor.post("/new/", {**ALL, "at": "4", "go": "start"}).location == "/trial/spring-2028/"
    folder = visitor.desk.workspace.folder
    _repeat(visitor, tmp_path / "again")
    assert contents(folder) == contents(tmp_path / "again")
    page = visitor.get("/trial/spring-2028/")
    assert "trialkit set spring-2028" in page.text
    assert visitor.get("/did/1/gardens.csv").data.startswith(b"site,name,alkalinity_mg_l_caco3,language\n")
    assert visitor.get("/did/2/gardens.csv").status_code == 404


@pytest.mark.parametrize(
    ("changed", "field", "said"),
    [
        ({"question": " "}, "question", "Write what the trial should find out"),
        ({"cultivars": "A", "doses": "4", "acidifiers": ""}, "cultivars", "Nothing varies"),
        ({"doses": "4,5\n6"}, "doses", "“4,5” is not one number"),
        ({"doses": "4\n99"}, "doses", "at most 50"),
        ({"cultivars": "Fenleaf\nfénleaf"}, "cultivars", "Fenleaf"),
        ({"nutrient": ""}, "nutrient", "as its bag names it"),
        ({"practice_dose": "5"}, "practice_dose", "Choose what gardeners use now"),
        ({"product-1-n_pct": "400"}, "product-1-n_pct", "0 to 50"),
        ({"product-2-acid_pct_w_v": "25"}, "product-2-acid_pct_w_v", "vinegar"),
        ({"gardens": ""}, "gardens", "at least one garden"),
        ({"gardens": "FERN\nMILL\nFERN"}, "gardens", "Line 3:"),
        ({"gardens": "FERN\nFern"}, "gardens", "capitals make no difference"),
        ({"blocks": "many"}, "blocks", "whole number"),
        ({"heads": "40"}, "heads", "at most 12"),
        ({"sow_on": "1.2.2028"}, "sow_on", "2026"),
        ({"name": "../up"}, "name", "small letters"),
        ({"seed": "x"}, "seed", "whole number"),
    ],
)
def test_what_is_wrong_stands_beside_its_field(
    visitor: Visitor, changed: dict[str, str], field: str, said: str
) -> None:
    """On the page that asks it, with all that was typed still there; nothing is written."""
    answer = visitor.post("/new/", {**ALL, **changed, "at": "4", "go": "start"})
    assert answer.status_code == 422
    page = answer.text
    assert f'id="{field}-faults"' in page
    beside = page.partition(f'id="{field}-faults"')[2].partition("</ul>")[0]
    assert said in beside, beside
    assert f'href="#{field}"' in page
    for name in ("question", "gardens", "season"):
        assert f'name="{name}"' in page
    assert contents(visitor.desk.workspace.folder) == {}


def test_hostile_names_are_shown_as_text_and_written_as_data(visitor: Visitor, tmp_path: Path) -> None:
    """Marks, quotation marks, formulas and commands: in the page, the folder and the shown command."""
    bad = {
        "question": 'Which "<b>one</b>"? $(rm -rf) =1+1',
        "cultivars": "<script>alert(1)</script>\n--seed",
        "doses": "",
        "nutrient": "",
        "acidifiers": "",
        "practice_cultivar": "--seed",
        "gardens": "Site,Note\nFERN,=1+1\n",
        "season": "-- spring",
        "name": "odd",
        "seed": "3",
    }
    page: Any = visitor.post("/new/", {**bad, "at": "3", "go": "4"})
    assert "<script>alert" not in page.text
    assert visitor.post("/new/", {**bad, "at": "4", "go": "start"}).status_code == 303
    _repeat(visitor, tmp_path / "again")
    assert contents(visitor.desk.workspace.folder) == contents(tmp_path / "again")
    assert "<script>alert" not in visitor.get("/trial/odd/").text


def test_back_keeps_what_was_typed(visitor: Visitor) -> None:
    """Also what is wrong, which is told only on the way on."""
    page = visitor.post("/new/", {**ALL, "gardens": "", "at": "3", "go": "1"})
    assert (page.status_code, "Paleheart, Fenleaf" in page.text) == (200, True)
    assert 'name="season" value="spring 2028"' in page.text
