"""What a folder, a disk or a form can hold that nobody meant: told in words on a page of ours, never as a fault."""

from __future__ import annotations

import errno
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from commands import WRONG_CALL, run
from contents import contents
from desk_visitor import BASE, ORIGIN, Visitor, told
from trialkit.desk import deeds
from trialkit.protocol.starting import copy_example

HERE = "/trial/spring/"
ENDLESS = "9" * 5000
"""More figures than Python reads as a number (3.11 and later: 4,300)."""


@pytest.fixture
def planned(visitor: Visitor) -> Visitor:
    """A desk with a trial that is planned."""
    copy_example("spring_dose", _folder(visitor), planned_only=True)
    return visitor


def _folder(visitor: Visitor) -> Path:
    return visitor.desk.workspace.folder / "spring"


BROKEN = {
    "no TOML": "[trial\nid = 1\n",
    "nested": "x = " + "[" * 3000 + "]" * 3000 + "\n",
    "an endless number": f"x = {ENDLESS}\n",
    "not UTF-8": b'[trial]\ntitle = "Pe\xf1a"\n',
}
PAGES = ("", "settings/", "list/sites/", "list/products/", "sizes/", "mail/", "post/", "garden/", "answer/")


@pytest.mark.parametrize("text", BROKEN.values(), ids=list(BROKEN))
def test_a_plan_that_cannot_be_read_is_told_everywhere(planned: Visitor, text: str | bytes) -> None:
    """On every page of the trial, and in answer to every form of it; nothing is written."""
    path = _folder(planned) / "trial.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    before = contents(_folder(planned))
    for page in PAGES:
        assert planned.get(f"{HERE}{page}").status_code in (200, 422), page
    form = {"layout-blocks": "2", "was-layout-blocks": ""}
    refused = planned.post(f"{HERE}settings/", form)
    assert (refused.status_code, "trial.toml" in told(refused)) == (422, True)
    refused = planned.post(f"{HERE}sizes/", {"gardens": "2", "blocks": "2", "heads": "2"})
    assert (refused.status_code, "trial.toml" in told(refused)) == (422, True)
    assert contents(_folder(planned)) == before


@pytest.mark.parametrize("text", BROKEN.values(), ids=list(BROKEN))
def test_the_command_tells_it_too(planned: Visitor, text: str | bytes) -> None:
    """Without a traceback; tomlkit, which keeps remarks, is not asked to read what is no TOML."""
    path = _folder(planned) / "trial.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    failed = run("set", _folder(planned), "layout.blocks=2")
    assert failed.returncode != 0
    assert "Traceback" not in failed.stderr
    assert "trial.toml" in failed.stderr


def test_a_list_that_is_no_utf_8_is_neither_guessed_at_nor_saved(planned: Visitor) -> None:
    """What would be lost is told, as a check tells it, with its line."""
    path = _folder(planned) / "sites.csv"
    heading, first, *rest = path.read_text("utf-8").splitlines()
    columns = heading.split(",")
    cells = first.split(",")
    cells[columns.index("name")] = "Peña"
    path.write_bytes("\n".join([heading, ",".join(cells), *rest, ""]).encode("latin-1"))
    before = contents(_folder(planned))
    shown = planned.get(f"{HERE}list/sites/")
    assert shown.status_code == 422
    assert "UTF-8" in told(shown)
    assert "Peña" in told(shown)
    assert "<textarea" not in shown.text
    assert "�" not in shown.text
    for go in ("look", "save"):
        answer = planned.post(f"{HERE}list/sites/", {"text": "FERN\nMILL", "seen": "", "go": go})
        assert answer.status_code in (200, 422)
    assert contents(_folder(planned)) == before


def test_a_list_to_be_copied_runs_nothing_in_a_spreadsheet(planned: Visitor) -> None:
    """As the table that is written; saved as it is, nothing changes."""
    path = _folder(planned) / "sites.csv"
    heading, *rows = path.read_text("utf-8").splitlines()
    columns = heading.split(",")
    cells = rows[0].split(",")
    cells[columns.index("name")] = '"\'=HYPERLINK(""http://evil.example"")"'
    path.write_text("\n".join([heading, ",".join(cells), *rows[1:], ""]), "utf-8")
    before = path.read_bytes()
    page = planned.get(f"{HERE}list/sites/").text
    text = page.partition("<textarea")[2].partition("</textarea>")[0]
    assert "HYPERLINK" in text
    assert "\t=HYPERLINK" not in text
    assert "&#39;=HYPERLINK" in text
    sent = unescape(text.partition(">\n")[2])
    assert planned.post(f"{HERE}list/sites/", {"text": sent, "go": "save"}).status_code == 303
    assert path.read_bytes() == before


@pytest.mark.parametrize("field", ["gardens", "blocks", "heads"])
@pytest.mark.parametrize("text", [ENDLESS, f"000000001{ENDLESS}", "²", "٣", "1_0", "-1"])
def test_sizes_take_plain_numbers_alone(planned: Visitor, field: str, text: str) -> None:
    """All else is told beside its field."""
    sizes = {"gardens": "5", "blocks": "2", "heads": "3", field: text}
    for answer in (planned.post(f"{HERE}sizes/", sizes), planned.get(f"{HERE}sizes/", query_string=sizes)):
        assert (answer.status_code, "Write a whole number from 1 to" in told(answer)) == (422, True)
    assert planned.get(f"{HERE}sizes/answer", query_string=sizes).status_code == 200


@pytest.mark.parametrize("field", ["blocks", "seed", "heads", "sow_on", "started_on"])
def test_what_is_no_number_or_day_is_told_on_its_own_page(visitor: Visitor, field: str) -> None:
    """Before one comes to the last page."""
    draft = {
        "question": "Which?",
        "cultivars": "Fenleaf\nPaleheart",
        "practice_cultivar": "Fenleaf",
        "gardens": "FERN\nMILL",
        "season": "spring 2028",
        "name": "spring-2028",
    }
    assert visitor.post("/new/", {**draft, "at": "3", "go": "4"}).status_code == 200
    for text in ("2028-13-40", ENDLESS):
        answer = visitor.post("/new/", {**draft, field: text, "at": "3", "go": "4"})
        assert answer.status_code == 422
        assert f'id="{field}-faults"' in answer.text
    assert contents(visitor.desk.workspace.folder) == {}


@contextmanager
def _failing(error: Exception) -> Iterator[None]:
    def fail(*_: Any) -> None:
        raise error

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(deeds, "lay_out", fail)
        yield


def test_a_full_disk_is_told_with_what_to_do(planned: Visitor) -> None:
    """As the command tells it; what was not done is not listed as done."""
    with _failing(OSError(errno.ENOSPC, "No space left on device", "layout.csv")):
        answer = planned.post(f"{HERE}layout")
    assert answer.status_code == 422
    assert "layout.csv: the disk is full" in told(answer)
    assert "Free some space" in told(answer)
    assert planned.desk.done == []


def test_a_fault_of_ours_is_told_without_its_traceback(planned: Visitor, caplog: pytest.LogCaptureFixture) -> None:
    """On a page of ours, in the reader's language; the terminal has the traceback."""
    planned.post("/language", {"language": "es"})
    with _failing(RuntimeError("a bug")), caplog.at_level(logging.ERROR):
        answer = planned.post(f"{HERE}layout")
    assert answer.status_code == 500
    assert "Es una falla del escritorio" in told(answer)
    assert "a bug" not in answer.text
    assert "Traceback" not in answer.text
    assert any(record.exc_info and "a bug" in str(record.exc_info[1]) for record in caplog.records)


@pytest.mark.parametrize("body", ["x=" + "y" * (1 << 20), "&".join(f"f{n}=1" for n in range(2500)), "&" * 3000])
def test_a_form_in_one_line_is_bounded_as_one_in_parts(planned: Visitor, body: str) -> None:
    """In size and in fields, before it is taken apart; one that is not too large is taken."""
    kind = "application/x-www-form-urlencoded"
    sent = f"token={planned.desk.guard.token}&{body}"
    answer = planned.client.post("/county/", base_url=BASE, headers=ORIGIN, data=sent, content_type=kind)
    assert (answer.status_code, "too large" in told(answer)) == (413, True)
    sent = f"token={planned.desk.guard.token}&language=es"
    answer = planned.client.post("/language", base_url=BASE, headers=ORIGIN, data=sent, content_type=kind)
    assert answer.status_code == 303


def test_doses_are_kept_to_the_last_figure(visitor: Visitor) -> None:
    """As they were typed, through every page and in the shown command."""
    draft = {
        "question": "How much?",
        "doses": "2.3333333\n4\n0.1",
        "nutrient": "Blend",
        "gardens": "FERN\nMILL",
        "season": "autumn",
    }
    page = visitor.post("/new/", {**draft, "at": "1", "go": "2"})
    assert 'value="2.3333333"' in page.text
    chosen = {**draft, "practice_dose": "2.3333333"}
    assert visitor.post("/new/", {**chosen, "at": "2", "go": "3"}).status_code == 200
    assert visitor.post("/new/", {**chosen, "at": "4", "go": "start"}).status_code == 303
    ((_, deed),) = visitor.desk.done
    assert "2.3333333" in deed.commands[0]
    settings = visitor.get("/trial/autumn/settings/").text
    assert "0.1\n2.3333333\n4</textarea>" in settings
    assert 'name="decision-current_practice-dose"' in settings
    assert 'value="2.3333333"' in settings


@pytest.mark.parametrize("text", ["1_0", "inf", "nan", "1e3", "٣"])
def test_what_only_a_program_takes_for_a_number_is_no_dose(visitor: Visitor, text: str) -> None:
    """Neither at the desk nor at the command."""
    answer = visitor.post("/new/", {"question": "?", "doses": f"4\n{text}", "nutrient": "B", "at": "1", "go": "2"})
    assert (answer.status_code, "is not one number" in told(answer)) == (422, True)
    command = ("new", visitor.desk.workspace.folder / "x", "--question", "?", "--dose", text, "--dose", "4")
    failed = run(*command, "--nutrient", "B", "--site", "FERN", "--current", "4")
    assert failed.returncode == WRONG_CALL
    assert "is not one number" in failed.stderr
