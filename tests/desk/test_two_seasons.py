"""The whole job at the desk in a real browser: from an empty folder, by buttons alone, to a handout on paper, twice.

Volunteers' files hold the records of the invented county: a spreadsheet with a mess of its own, and the workbook and
the phone form that were mailed. Run as a program with a folder, it takes the pictures of the README on the way.
"""

from __future__ import annotations

import re
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from pypdf import PdfReader

import trialkit
from chromium import ARGUMENTS, CHROMIUM
from commands import run
from desk_server import served
from phone_page import first_bucket, go, opened, saved
from trialkit.planning.invented_county import generate_records
from trialkit.planning.invented_returns import SHEETS, write_sheets
from trialkit.rules.trial_folder import read_trial
from trialkit.tables.table_schema import load_schema

SECONDS = 120_000
"""Milliseconds that any page may take on a machine that does much else."""


class Adviser:
    """Who sits at the desk: clicks what is written there, and takes a picture where one is wanted."""

    def __init__(self, page: Any, base: str, pictures: Path | None) -> None:
        self.page, self.base, self.pictures = page, base, pictures
        self.taken: set[str] = set()
        page.set_default_timeout(SECONDS)

    def at(self, path: str) -> None:
        """Be on a page, once all that was begun is done."""
        try:
            self.page.wait_for_url(lambda url: re.split(r"[?#]", url)[0] == self.base + path)
        except Exception as error:
            raise AssertionError(f"{self.page.url} instead of {path}: {self.main[:1500]}") from error

    def press(self, name: str) -> None:
        """Press a button, or follow what looks like one."""
        self.page.locator("button, a").filter(has_text=re.compile(f"^{re.escape(name)}$")).first.click()

    def fill(self, **texts: str) -> None:
        """Fill in fields by their names."""
        for name, text in texts.items():
            self.page.locator(f"[name='{name}']:not([type=hidden])").fill(text)

    def step(self, title: str, button: str) -> None:
        """Press a button in a step of the season."""
        card = self.page.locator("li.card").filter(has=self.page.get_by_role("heading", name=re.compile(f"^{title}")))
        card.locator("button, a.button").filter(has_text=button).first.click()

    def take_picture(self, name: str, of: str = "body") -> None:
        """Take a picture for the README, if they are wanted, from a part of the page on."""
        if self.pictures is not None and name not in self.taken:
            self.taken.add(name)
            self.page.locator(of).first.evaluate("one => one.scrollIntoView()")
            self.page.screenshot(path=self.pictures / f"{name}.png")

    @property
    def main(self) -> str:
        """What the page says."""
        return str(self.page.inner_text("main"))


def a_season(adviser: Adviser, folder: Path, name: str) -> None:
    """Plan, lots, packs, returns and answer of a trial that was started, by its page; then into the ledger."""
    trial = f"/trial/{name}/"
    adviser.at(trial)
    adviser.take_picture("season")
    adviser.step("Plan", "Write the plan")
    adviser.at(trial)
    assert (folder / name / "results" / "plan.html").is_file()
    adviser.step("Layout", "Draw the lots")
    adviser.at(trial)
    adviser.step("Packs", "Write the packs")
    adviser.at(trial)
    adviser.press("One file for each garden, to be mailed")
    mailed = {site: unpacked(adviser, site, folder.parent / f"{name}-{site}") for site in ("FERN", "MILL", "HARB")}

    adviser.page.goto(adviser.base + trial)
    adviser.step("Post room", "Open")
    adviser.page.set_input_files("#files", volunteers_files(adviser.page.context.browser, folder / name, mailed))
    adviser.press("Look at them")
    adviser.at(f"{trial}post/")
    adviser.take_picture("post-room", "#waiting")
    answer_questions(adviser)
    adviser.press("Merge all that is answered")
    adviser.at(f"{trial}post/")
    heads = trialkit.Trial(folder / name).heads()
    assert heads["weight_g"].notna().mean() > 0.7

    adviser.page.goto(f"{adviser.base}{trial}answer/")
    adviser.press("Work out the answer")
    adviser.at(f"{trial}answer/")
    adviser.take_picture("answer")
    adviser.press("Put it into the ledger")
    adviser.at("/ledger/")


def unpacked(adviser: Adviser, site: str, aside: Path) -> Path:
    """Save what a garden is mailed, and unpack it as its volunteer does."""
    with adviser.page.expect_download() as saved:
        adviser.page.get_by_role("link", name=f"Save the file of {site}").click()
    assert saved.value.suggested_filename.endswith(".zip")
    with zipfile.ZipFile(saved.value.path()) as parcel:
        parcel.extractall(aside)
    return aside


def volunteers_files(browser: Any, trial: Path, mailed: dict[str, Path]) -> list[str]:
    """Files that the gardens of a laid-out trial send back, made with what each was mailed.

    Fernsedge sends a spreadsheet of its own. Mill types into its workbook. Harbour uses the phone form for a
    bucket, and a spreadsheet for the rest.
    """
    found = read_trial(trial, stage="layout")
    records = generate_records(found.protocol, found.sites, found.layout, found.products)
    heads = records.heads.astype(object).where(records.heads.notna(), "").astype(str)
    by_phone = first_bucket(found, "HARB")
    place = mailed["FERN"].parent / f"returned-{trial.name}"
    place.mkdir()
    write_sheets(place, heads[heads["bucket"] != by_phone], found.layout)
    sheets = {path.stem: path for path in (place / SHEETS).iterdir()}
    of_mill = found.layout.loc[found.layout["site"] == "MILL", "bucket"]
    workbook = typed_into(mailed["MILL"], heads[heads["bucket"].isin(of_mill)], place / "Kopie (2).xlsx")
    phone = opened(browser, next(mailed["HARB"].rglob("phone-*.html")))
    go(phone, by_phone)
    for row in heads[heads["bucket"] == by_phone].to_dict("records"):
        for column in set(row) - {"bucket", "head"}:
            field = phone.locator(f"#head{row['head']}-{column}")
            if row[column]:
                choose = field.evaluate("one => one.tagName") == "SELECT"
                (field.select_option if choose else field.fill)(row[column])
    told = saved(phone, place)["path"]
    phone.context.close()
    return [str(path) for path in (sheets["FERN"], workbook, told, sheets["HARB"])]


def typed_into(mailed: Path, rows: pd.DataFrame, to: Path) -> Path:
    """Type what was recorded into the workbook of a garden, as one types: days as days, weights as numbers."""
    workbook = openpyxl.load_workbook(next(mailed.rglob("record-*.xlsx")))
    sheet = workbook["heads"]
    headings = {cell.value: cell.column for cell in sheet[1]}
    columns = {column: headings[load_schema("heads").field(column).heading] for column in rows.columns}
    known = {(row["bucket"], int(row["head"])): row for row in rows.to_dict("records")}
    for line in range(2, sheet.max_row + 1):
        row = known.get((sheet.cell(line, columns["bucket"]).value, sheet.cell(line, columns["head"]).value), {})
        for column, text in row.items():
            if text and column not in ("bucket", "head"):
                typed = date.fromisoformat(text) if column.endswith("_on") else text
                sheet.cell(line, columns[column]).value = float(text) if column == "weight_g" else typed
    workbook.save(to)
    return to


def answer_questions(adviser: Adviser) -> None:
    """Answer whatever is asked by what is proposed first, and look again until nothing is."""
    for _ in range(6):
        asked = adviser.page.locator("article.is-asked")
        if asked.count() == 0:
            return
        for group in adviser.page.locator("article.is-asked fieldset").all():
            if group.locator("input[type=radio][value='']:checked").count():  # nobody knows yet
                group.locator("input[type=radio]").first.check()
        for box in adviser.page.locator("article.is-asked input[type=checkbox]").all():
            box.check()
        adviser.page.get_by_role("button", name="Look again with these answers").click()
        adviser.page.wait_for_load_state()
    raise AssertionError(adviser.main)


def two_seasons(adviser: Adviser, folder: Path) -> None:
    """From an empty folder to the handout of the second season."""
    page = adviser.page
    assert "There is no trial here yet" in adviser.main
    adviser.press("The county")
    adviser.fill(name="Larkmoor County", programme="Garden Advice", contact="Horticulture desk")
    adviser.press("Set it")
    page.goto(adviser.base + "/")
    adviser.press("Start a trial")
    adviser.fill(
        question="Which cultivar, and how many teaspoons?",
        cultivars="Larkmoor Butter\nFenleaf",
        doses="4\n8",
        nutrient="Gartenquell 4-18-38",
    )
    adviser.take_picture("start")
    adviser.press("Go on")
    page.locator("[name=practice_cultivar][value='Larkmoor Butter']").check()
    page.locator("[name=practice_dose][value='4']").check()
    adviser.press("Go on")
    adviser.fill(gardens="FERN\nMILL\nHARB", season="spring 2028", sow_on="2028-03-01", blocks="2", heads="4")
    page.locator("summary", has_text="More").click()
    adviser.fill(seed="11", name="spring-2028")
    adviser.press("Go on")
    adviser.press("Start the trial")
    adviser.at("/trial/spring-2028/")
    adviser.press("Try other sizes")
    page.locator("#answer").get_by_text("buckets").first.wait_for()
    adviser.fill(blocks="3")
    page.locator("#answer").get_by_text("36 buckets").first.wait_for()
    adviser.take_picture("sizes")
    adviser.press("Keep these sizes")
    adviser.at("/trial/spring-2028/")
    a_season(adviser, folder, "spring-2028")

    adviser.press("Write the handout")
    adviser.at("/ledger/")
    assert "This is the first version" in adviser.main
    adviser.take_picture("ledger")
    if page.get_by_text("Start it all the same").count():
        page.get_by_text("Start it all the same").click()
    adviser.fill(folder="autumn-2028")
    adviser.press("Start it")
    adviser.at("/trial/autumn-2028/")
    adviser.press("Settings")
    adviser.at("/trial/autumn-2028/settings/")
    adviser.fill(**{"trial-season": "autumn 2028", "schedule-sow_on": "2028-08-01"})
    page.get_by_role("button", name="Save").first.click()
    page.get_by_text("Take back: Season").wait_for()
    adviser.press("Back to the trial")
    a_season(adviser, folder, "autumn-2028")
    page.locator("input[name=language][value=es]").check()
    adviser.press("Write the handout again")
    adviser.at("/ledger/")
    assert "The default" in adviser.main
    with page.context.expect_page() as opened:
        page.get_by_role("link", name="page", exact=True).first.click()
    handout = opened.value
    handout.wait_for_load_state()
    assert "Larkmoor County" in handout.inner_text("body")
    paper = Path(tempfile.mkdtemp(dir=folder.parent)) / "handout.pdf"
    handout.pdf(path=paper, format="A4", prefer_css_page_size=True)
    printed = PdfReader(paper)
    assert 1 <= len(printed.pages) <= 2
    assert "Fenleaf" in "".join(one.extract_text() for one in printed.pages)
    handout.close()


@contextmanager
def sitting_down(browser: Any, folder: Path, pictures: Path | None = None) -> Iterator[Adviser]:
    """Open the desk on a folder."""
    with served(folder) as (_, link):
        context = browser.new_context(viewport={"width": 1100, "height": 760}, accept_downloads=True)
        page = context.new_page()
        page.goto(link)
        yield Adviser(page, link.partition("/open")[0], pictures)
        context.close()


def test_two_seasons_by_buttons_alone(browser: Any, tmp_path: Path) -> None:
    """Nothing but the desk was used; what stands in the folder is what commands find to be whole."""
    folder = tmp_path / "trials"
    folder.mkdir()
    with sitting_down(browser, folder) as adviser:
        two_seasons(adviser, folder)
    for name in ("spring-2028", "autumn-2028"):
        assert run("check", folder / name).returncode == 0
        assert run("report", folder / name, "--verify").returncode == 0
    listed = run("evidence", "list", "--ledger", folder / "ledger")
    assert listed.returncode == 0
    assert "2 of 2 entries count" in listed.stdout


if __name__ == "__main__":
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as started, tempfile.TemporaryDirectory() as aside:
        chromium = started.chromium.launch(executable_path=str(CHROMIUM), args=list(ARGUMENTS))
        trials = Path(aside) / "trials"
        trials.mkdir()
        with sitting_down(chromium, trials, Path(sys.argv[1])) as someone:
            two_seasons(someone, trials)
        chromium.close()
