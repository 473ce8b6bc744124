"""A trial whose every free text was written by an attacker: its pages in a browser, its tables in a spreadsheet."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
import pytest
from click.testing import CliRunner

from chromium import Window
from once import once
from trialkit.cli.main import group
from trialkit.protocol.randomise import randomise
from trialkit.protocol.trial_protocol import parse_protocol
from trialkit.rules.trial_folder import check_trial
from trialkit.tables.atomic import csv_text
from trialkit.tables.table_schema import load_schema
from trialkit.words.problem_words import problem_sentence

ATTACK = (
    '="></style><script>x()</script>\u202e{{7*7}}<svg onload=y()>'
    "<img src=x onerror=alert(1)> ${7*7} {% raw %} <%=7*7%> #{7} \u2067txt.exe\u202c قرنبيط " + "W" * 1000
)
"""Everything at once: a formula; the end of an attribute and of a style sheet, a script and drawings that run one; a
turn to the right; templates of several kinds; a very long word. The shortest text takes 40 letters of it: as far as a
template. Names take 60: the first drawing too.
"""
FREE_TEXT = 1000
"""Longest title or question; other texts of the protocol are names of 60 or lines of 80 characters."""
MARKS = ("\u202e", "\u2067", "\u202c")
RISKY = ("=", "+", "-", "@", "\t", "\r")


def protocol_text(attack: str) -> str:
    """Write a protocol with an attack under each key that takes free text."""

    def quoted(longest: int, more: str = "") -> str:
        return json.dumps(attack[: longest - len(more)] + more)

    return f"""\
[trial]
title = {quoted(FREE_TEXT)}
question = {quoted(FREE_TEXT, "?")}
season = {quoted(80)}
started_on = 2026-08-20
contact_role = {quoted(80)}

[bucket]
heads = 2

[factors.cultivar]
levels = [{quoted(60)}, {quoted(60, "2")}]

[factors.dose]
levels = [4]
product = {quoted(60, "N")}

[factors.dose.parts]
{quoted(60, "C")} = 0.5

[factors.acidifier]
levels = ["none", {quoted(60, "A")}]

[layout]
blocks = 3
seed = 5

[decision]
current_practice = {{ cultivar = {quoted(60)}, dose = 4, acidifier = "none" }}
"""


def spoil(frame: pd.DataFrame, table: Any, attack: str) -> None:
    """Write the attack into every column of a table that takes free text, as long as the column takes."""
    for field in load_schema(table).fields:
        if field.type == "string" and field.max_length and field.name not in ("cultivar", "acidifier", "product"):
            frame[field.name] = attack[: field.max_length]


def write_trial(folder: Path, attack: str) -> None:
    """Write a trial of two gardens with records."""
    rng = np.random.Generator(np.random.PCG64(3))
    text = protocol_text(attack)
    protocol = parse_protocol(text)
    sites = pd.DataFrame({"site": ["FERN", "MILL"], "alkalinity_mg_l_caco3": [75, 80], "water_ph": [7.0, 7.2]})
    spoil(sites, "sites", attack)
    layout = randomise(protocol, sites)
    dose = protocol.factors["dose"]
    names = [dose.product, *dose.parts, protocol.factors["acidifier"].levels[1]]
    products = pd.DataFrame(
        {
            "product": names,
            "kind": ["nutrient", "nutrient", "acid"],
            "n_pct": [9, 15.5, np.nan],
            "p2o5_pct": [12, np.nan, np.nan],
            "k2o_pct": [30, np.nan, np.nan],
            "ca_pct": [np.nan, 19, np.nan],
            "grams_per_tsp": [3, 5, np.nan],
            "acid": ["", "", "acetic"],
            "acid_pct_w_v": [np.nan, np.nan, 5],
        }
    )
    heads = layout[["bucket"]].loc[layout.index.repeat(2)].reset_index(drop=True)
    heads["head"] = np.tile([1, 2], len(layout))
    heads["transplanted_on"], heads["outcome"] = "2026-08-20", "harvested"
    heads["harvested_on"], heads["last_not_ready_on"] = "2026-09-29", "2026-09-26"
    heads["weight_g"] = rng.normal(150, 15, len(heads)).round()
    spoil(heads, "heads", attack)
    visits = pd.DataFrame({"site": ["FERN", "MILL"], "visited_on": "2026-09-26"})
    spoil(visits, "visits", attack)
    sour = layout["acidifier"] != "none"
    solution = layout[["bucket"]].assign(
        measured_on="2026-08-20", volume_l=20, nutrient_tsp=4, acid_tsp=np.where(sour, 5.0, 0.0), ph_before=7.0,
        ph_after=np.where(sour, 6.0, 7.0), ec_ms_cm=1.1,
    )  # fmt: skip
    folder.mkdir()
    (folder / "trial.toml").write_text(text, "utf-8")
    tables = {"sites": sites, "products": products, "layout": layout, "heads": heads, "visits": visits}
    for name, table in (tables | {"solution": solution}).items():
        (folder / f"{name}.csv").write_text(csv_text(table), "utf-8")


@pytest.fixture(scope="module")
def attacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An attacked trial on which every command that writes a page or a table was run; not to be changed."""
    return once(tmp_path_factory, "attacked", _attack) / "trial"


def _attack(place: Path) -> None:
    folder = place / "trial"
    write_trial(folder, ATTACK)
    assert check_trial(folder).ok, [problem_sentence(one) for one in check_trial(folder).problems]
    ledger = str(folder.parent / "ledger")
    for arguments in (
        ["check", str(folder), "--html"],
        ["plan", str(folder), "--simulations", "100"],
        ["forms", str(folder)],
        ["analyse", str(folder)],
        ["report", str(folder)],
        ["pack", str(folder)],
        ["evidence", "add", str(folder), "--ledger", ledger],
        ["recommend", ledger],
        ["evidence", "pool", "--ledger", ledger],
    ):
        result = CliRunner().invoke(group, arguments)
        assert result.exit_code == 0, (arguments, result.output, result.exception)
        assert not set(MARKS) & set(result.output)


def test_a_browser_shows_it_as_text(window: Window, attacked: Path) -> None:
    """On every page: nothing runs, nothing is fetched, no element is the attacker's, and what was typed can be read."""
    pages = sorted(attacked.parent.rglob("*.html"))
    assert {path.name for path in pages} >= {
        "report.html", "plan.html", "check.html", "adviser.html", "pack-FERN.html", "phone-FERN.html", "handout.html",
        "pool.html",
    }  # fmt: skip
    typed = "".join(mark for mark in ATTACK if mark not in MARKS)
    for path in pages:
        opened = window.show(path)
        assert window.said == [], path.name
        assert window.elsewhere() == [], path.name
        assert opened.locator("img:not([src^='data:']), iframe, object, embed, [onload], [onerror]").count() == 0
        assert opened.locator("style").count() == 1, path.name
        assert opened.locator("script").count() <= 1 + (path.name.startswith("phone-")), path.name
        words = opened.locator("body").inner_text()
        assert not set(MARKS) & set(words), path.name
        if path.name not in ("check.html", "care.html"):  # a sheet of care has no word of a stranger
            assert typed[:30] in " ".join(words.split()) or typed[:30] in words, path.name


def test_a_spreadsheet_calculates_nothing(attacked: Path) -> None:
    """No cell of a table, of a workbook or of the data package begins like a formula, but for numbers."""
    texts = {path.name: path.read_text("utf-8") for path in attacked.rglob("*.csv")}
    with zipfile.ZipFile(next((attacked / "results").glob("*.zip"))) as pack:
        texts |= {f"zip {name}": pack.read(name).decode() for name in pack.namelist() if name.endswith(".csv")}
    assert len(texts) > 10
    for name, text in texts.items():
        for row in csv.reader(io.StringIO(text)):
            for cell in row:
                assert not cell.startswith(RISKY) or cell.lstrip("-").replace(".", "", 1).isdigit(), (name, cell)
    books = list((attacked / "forms").glob("*.xlsx"))
    assert len(books) == 2
    for path in books:
        for sheet in openpyxl.load_workbook(path).worksheets:
            for row in sheet.iter_rows():
                for cell in row:
                    assert cell.data_type != "f", (path.name, sheet.title, cell.coordinate, cell.value)


@pytest.mark.parametrize("attack", ["\x1b[31mred", "bell\x07", "nul\x00", "\x9b2J"])
def test_control_characters_are_refused_and_shown_safely(tmp_path: Path, attack: str) -> None:
    """What would steer a terminal is an error in a table, and is printed escaped."""
    folder = tmp_path / "trial"
    write_trial(folder, "fine")
    path = folder / "sites.csv"
    path.write_text(path.read_text("utf-8").replace("fine", attack, 1), "utf-8")
    result = CliRunner().invoke(group, ["check", str(folder)], standalone_mode=False)
    assert result.return_value == 1
    assert not set(attack) & set("\x1b\x07\x00\x9b") & set(result.output)
    assert "sites.csv" in result.output
