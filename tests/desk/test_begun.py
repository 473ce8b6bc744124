"""What is begun at the desk outlasts it: files that wait, answers, take-backs, drafts; and two desks mix nothing."""

from __future__ import annotations

import io
import re
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from html import unescape
from pathlib import Path
from threading import Barrier

import pandas as pd
import pytest

import trialkit
from commands import run
from contents import contents
from damaged_documents import spoilt_bytes
from desk_visitor import Visitor, folder_of, told, visit
from returned_files import Good
from trialkit.desk.drafts import MOST_DRAFTS, Drafts
from trialkit.desk.tray import Tray
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.protocol.starting import copy_example

POST = "/trial/fern/post/"
HERE = "/trial/spring/"


@contextmanager
def another_desk(visitor: Visitor) -> Iterator[Visitor]:
    """Open another desk on the same folder."""
    yield from visit(visitor.desk.workspace.folder)


def drop(visitor: Visitor, **files: bytes) -> None:
    """Drop CSV files by their names."""
    sent = [(io.BytesIO(data), f"{name}.csv") for name, data in files.items()]
    assert visitor.post(f"{POST}drop", {"files": sent}).status_code == 303


def names(visitor: Visitor) -> list[str]:
    """Files that wait."""
    return [one.name for one in Tray(folder_of(visitor)).files()]


def test_files_and_answers_outlast_the_desk(
    laid_out: Visitor, good: Good, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A desk that is opened after another shows the same; nothing stands in the system's folder for temporary files."""
    aside = tmp_path / "aside"
    aside.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(aside))
    drop(laid_out, first=good.csv().encode())
    laid_out.post(f"{POST}answers", {"do": "merge"})
    drop(
        laid_out,
        other=good.with_cell("heads", 0, "weight_g", "150").csv().encode(),
        asks=good.with_column("solution", "measured_on", lambda _: "03/09/26").csv("solution").encode(),
    )
    other, asks = Tray(folder_of(laid_out)).files()
    conflict = re.search(r'name="(conflict\.[^"]+)"', laid_out.get(POST).text)
    assert conflict is not None
    answers = {conflict[1]: "returned", f"{asks.id}.option.dates": "day-first", f"{other.id}.why": ""}
    assert laid_out.post(f"{POST}answers", {"do": "look", **answers}).status_code == 303
    before = told(laid_out.get(POST))
    assert list(aside.iterdir()) == []
    with another_desk(laid_out) as later:
        assert told(later.get(POST)) == before
        assert f'name="{conflict[1]}" value="returned" checked' in later.get(POST).text
        assert later.post(f"{POST}answers", {"do": "merge", **answers}).status_code == 303
    assert names(laid_out) == []
    assert ",150," in (folder_of(laid_out) / "heads.csv").read_text("utf-8")
    assert [path.name for path in (folder_of(laid_out) / ".desk").iterdir()] == [".lock"]


def test_no_command_reads_what_waits(laid_out: Visitor, good: Good, tmp_path: Path) -> None:
    """Not a check, a merge, the lots, nor the open data; and a trial's files are as without it."""
    drop(laid_out, first=good.csv().encode())
    laid_out.post(f"{POST}answers", {"do": "merge"})
    before = contents(folder_of(laid_out))
    checked = run("check", folder_of(laid_out)).stdout
    drop(laid_out, second=good.with_cell("heads", 0, "weight_g", "150").csv().encode())
    assert run("check", folder_of(laid_out)).stdout == checked
    assert run("merge", folder_of(laid_out)).returncode == 0
    assert contents(folder_of(laid_out)) == before
    run("pack", folder_of(laid_out), "--into", tmp_path / "open.zip")
    assert b".desk" not in (tmp_path / "open.zip").read_bytes()


def test_two_desks_at_once_lose_and_mix_nothing(laid_out: Visitor) -> None:
    """Files dropped at the same moment all wait, each as it was; a page answers only for the files that it shows."""
    with another_desk(laid_out) as other:
        together = Barrier(2)

        def several(visitor: Visitor, who: str) -> None:
            for number in range(4):
                together.wait()
                drop(visitor, **{f"{who}{number}": f"bucket,head\n{who},{number}\n".encode()})

        with ThreadPoolExecutor(2) as both:
            list(both.map(several, (laid_out, other), "ab"))
        waiting = Tray(folder_of(laid_out)).files()
        assert sorted(one.name for one in waiting) == [f"{who}{number}.csv" for who in "ab" for number in range(4)]
        for one in waiting:
            assert one.path.read_text() == f"bucket,head\n{one.name[0]},{one.name[1]}\n"
        mine, theirs = waiting[0].id, waiting[1].id
        laid_out.post(f"{POST}answers", {"do": "look", f"{mine}.why": "read again"})
        other.post(f"{POST}answers", {"do": "look", f"{theirs}.why": "as told", "conflict.x": "kept"})
        laid_out.post(f"{POST}answers", {"do": "look", f"{mine}.why": "read twice", "conflict.y": "returned"})
        found = {one.id: one.answered.why for one in Tray(folder_of(laid_out)).files()}
        assert (found[mine], found[theirs]) == ("read twice", "as told")
        assert Tray(folder_of(laid_out)).choices() == {"x": "kept", "y": "returned"}


def test_two_desks_merge_one_file_once(laid_out: Visitor, good: Good) -> None:
    """Both buttons pressed at the same moment: one merges, the other finds it done."""
    drop(laid_out, fern=good.csv().encode())
    with another_desk(laid_out) as other:
        together = Barrier(2)

        def merge(visitor: Visitor) -> int:
            together.wait()
            return int(visitor.post(f"{POST}answers", {"do": "merge"}).status_code)

        with ThreadPoolExecutor(2) as both:
            found = list(both.map(merge, (laid_out, other)))
    assert 303 in found
    assert set(found) <= {303, 422}
    assert names(laid_out) == []
    assert len(trialkit.Trial(folder_of(laid_out)).heads()) == len(good.tables["heads"])
    assert len(list((folder_of(laid_out) / "returned").glob("*.csv"))) == 1
    assert run("merge", folder_of(laid_out)).returncode == 0


@pytest.mark.parametrize("link", [".desk", ".desk/.lock", ".desk/waiting", ".desk/waiting.json"])
def test_links_are_not_followed(laid_out: Visitor, tmp_path: Path, link: str) -> None:
    """A trial from a stranger may hold them: nothing is read or written where they lead, and it is told in words."""
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "kept").write_text("theirs", "utf-8")
    drop(laid_out, a=b"bucket,head\n")
    path = folder_of(laid_out) / link
    path.rename(outside / "moved")
    path.symlink_to(outside / ("kept" if link.endswith((".lock", ".json")) else "moved"))
    before = contents(outside)
    answer = laid_out.post(f"{POST}drop", {"files": [(io.BytesIO(b"x"), "b.csv")]})
    assert answer.status_code == 422
    assert "link" in told(answer) or "damaged" in told(answer)
    assert laid_out.get(POST).status_code == 200
    assert contents(outside) == before


def test_a_damaged_tray_is_told_and_loses_no_file(laid_out: Visitor, good: Good) -> None:
    """Whatever stands in its index; the names in it lead nowhere."""
    drop(laid_out, a=good.csv().encode())
    (waiting,) = Tray(folder_of(laid_out)).files()
    index = folder_of(laid_out) / ".desk" / "waiting.json"
    kept = index.read_bytes()
    strange = [kept.replace(b'"a.csv"', b'"../../trial.toml"'), kept.replace(waiting.id.encode(), b"..")]
    for data in [*strange, *(data for what, data in spoilt_bytes(kept).items() if not what.startswith("as good"))]:
        index.write_bytes(data)
        assert "is damaged" in told(laid_out.get(POST))
        assert laid_out.post(f"{POST}drop", {"files": [(io.BytesIO(b"x"), "b.csv")]}).status_code == 422
    assert waiting.path.read_bytes() == good.csv().encode()
    index.write_bytes(kept)
    assert names(laid_out) == ["a.csv"]


def test_what_a_killed_drop_left_is_cleared(laid_out: Visitor) -> None:
    """It never counted; the next drop takes it away, and what counts stays."""
    drop(laid_out, a=b"bucket,head\n")
    left = folder_of(laid_out) / ".desk" / "waiting" / ("0" * 16)
    left.mkdir()
    (left / "half.csv").write_bytes(b"buck")
    assert names(laid_out) == ["a.csv"]
    drop(laid_out, b=b"bucket,head\n")
    assert names(laid_out) == ["a.csv", "b.csv"]
    assert not left.exists()


@pytest.fixture
def planned(visitor: Visitor) -> Visitor:
    """A desk with a trial that is planned."""
    copy_example("spring_dose", visitor.desk.workspace.folder / "spring", planned_only=True)
    return visitor


def test_a_change_of_the_plan_is_taken_back_by_a_later_desk(planned: Visitor) -> None:
    """Values of every kind are as they were, and a table, cell by cell."""
    folder = planned.desk.workspace.folder / "spring"
    gardens = trialkit.Trial(folder).sites()
    changes = {"trial-season": "spring 2029", "schedule-sow_on": "2029-02-01", "factors-dose-levels": "2\r\n4"}
    was = {f"was-{name}": value for name, value in _settings(planned).items()}
    assert planned.post(f"{HERE}settings/", {**was, **changes}).status_code == 303
    protocol = trialkit.Trial(folder).protocol
    assert str(protocol.schedule.sow_on) == "2029-02-01"
    with another_desk(planned) as later:
        assert "Take back: Season" in later.get(HERE).text
        assert later.post(f"{HERE}take-back").status_code == 303
        assert f"{HERE}take-back" not in later.get(HERE).text
    assert _settings(planned) == {name.removeprefix("was-"): value for name, value in was.items()}

    form = unescape(planned.get(f"{HERE}list/sites/").text)
    seen = re.search(r'name="seen" value="(\w+)"', form)
    assert seen is not None
    sent = {"text": "Site\nFERN\nMILL\n", "seen": seen[1], "go": "save"}
    assert planned.post(f"{HERE}list/sites/", sent).status_code == 303
    with another_desk(planned) as later:
        assert later.post(f"{HERE}take-back").status_code == 303
    found = trialkit.Trial(folder).sites().dropna(axis="columns", how="all")
    pd.testing.assert_frame_equal(found, gardens.dropna(axis="columns", how="all"), check_like=True)


def test_what_others_changed_since_is_not_taken_back(planned: Visitor) -> None:
    """A command set another key: the take-back of the desk would be of a plan that is no more."""
    was = {f"was-{name}": value for name, value in _settings(planned).items()}
    planned.post(f"{HERE}settings/", {**was, "trial-season": "spring 2029"})
    assert "Take back" in planned.get(HERE).text
    run("set", planned.desk.workspace.folder / "spring", "trial.season=autumn")
    assert "Take back" not in planned.get(HERE).text
    assert planned.post(f"{HERE}take-back").status_code == 404


def _settings(visitor: Visitor) -> dict[str, str]:
    page = visitor.get(f"{HERE}settings/").text
    return {name: unescape(value) for name, value in re.findall(r'name="was-([^"]+)" value="([^"]*)"', page)}


TYPED = {"question": "Which <b>cultivar</b>?", "cultivars": "Fenleaf\r\nPaleheart", "blocks": "3"}


def _window(page: str) -> dict[str, str]:
    """Hidden fields by which a window's draft is known."""
    return dict(re.findall(r'name="(draft|instead_of)" value="(\w*)"', page))


def test_a_trial_half_typed_is_gone_on_with(visitor: Visitor) -> None:
    """At another desk, on the page where it was left; thrown away by a button, and gone once it is started."""
    window = _window(visitor.get("/new/").text)
    assert visitor.post("/new/", {**window, "blocks": "3", "at": "1", "go": "1"}).status_code == 200
    assert "Go on with it" not in visitor.get("/").text  # nothing was typed
    visitor.post("/new/", {**window, **TYPED, "at": "1", "go": "2"})
    with another_desk(visitor) as later:
        home = later.get("/").text
        assert "Which &lt;b&gt;cultivar" in home
        (link,) = re.findall(r'href="(/new/\?draft=\w+)"', home)
        page = later.get(link)
        assert "Which cultivar do gardeners grow now?" in told(page)
        taken = _window(page.text)
        assert taken["draft"] != window["draft"]
        typed = {**TYPED, "practice_cultivar": "Fenleaf", "gardens": "FERN", "name": "spring", **taken}
        assert later.post("/new/keep", {**typed, "at": "3"}).status_code == 204
        assert later.get(link).location == "/"  # it was taken over
        assert len(Drafts(later.desk.workspace.folder).listed()) == 1
        assert later.post("/new/", {**typed, "at": "4", "go": "start"}).status_code == 303
        assert "Go on with it" not in later.get("/").text
    visitor.post("/new/keep", {**_window(visitor.get("/new/").text), **TYPED, "at": "1"})
    (draft,) = Drafts(visitor.desk.workspace.folder).listed()
    assert visitor.post("/new/throw-away", {"draft": draft.id}).status_code == 303
    assert [path.name for path in (visitor.desk.workspace.folder / ".desk").iterdir()] == [".lock"]


def test_two_windows_go_on_with_one_draft(visitor: Visitor) -> None:
    """Each keeps what is typed in it: neither overwrites the other."""
    visitor.post("/new/keep", {**_window(visitor.get("/new/").text), **TYPED, "at": "1"})
    (begun,) = Drafts(visitor.desk.workspace.folder).listed()
    first, second = (_window(visitor.get(f"/new/?draft={begun.id}").text) for _ in range(2))
    for turn in range(2):
        for window, question in ((first, "Which acid?"), (second, "Which dose?")):
            visitor.post("/new/keep", {**window, **TYPED, "question": f"{question} {turn}", "at": "1"})
    found = {one.question for one in Drafts(visitor.desk.workspace.folder).listed()}
    assert found == {"Which acid? 1", "Which dose? 1"}


def test_drafts_are_bounded_and_private(visitor: Visitor) -> None:
    """So many may be begun; names of drafts lead nowhere; a damaged one can be thrown away."""
    folder = visitor.desk.workspace.folder
    for number in range(MOST_DRAFTS):
        visitor.post("/new/keep", {"draft": f"{number:016x}", "question": str(number), "at": "1"})
    refused = visitor.get("/new/")
    assert (refused.status_code, "throw some away" in told(refused)) == (422, True)
    assert visitor.post("/new/keep", {"draft": "f" * 16, "question": "one more", "at": "1"}).status_code == 422
    for name in ("../../x", "x", "", "0" * 17):
        visitor.post("/new/keep", {"draft": name, "instead_of": "../x", "question": "odd", "at": "1"})
        assert visitor.get(f"/new/?draft={name or 'x'}").location == "/"
    assert sorted(contents(folder)) == []
    place = folder / ".desk" / "drafts"
    assert len(list(place.iterdir())) == MOST_DRAFTS
    assert place.stat().st_mode & 0o077 == 0
    (place / f"{3:016x}.json").write_text("nonsense", "utf-8")
    assert visitor.get("/").status_code == 200
    assert "is damaged" in told(visitor.get(f"/new/?draft={3:016x}"))
    with pytest.raises(NotComputed):
        Drafts(folder).find(f"{3:016x}")
    visitor.post("/new/throw-away", {"draft": f"{3:016x}"})
    assert len(Drafts(folder).listed()) == MOST_DRAFTS - 1
    (folder / ".desk").rename(folder.parent / "moved")
    (folder / ".desk").symlink_to(folder.parent / "moved")
    with pytest.raises(WrongCall, match="link"):
        Drafts(folder).listed()
