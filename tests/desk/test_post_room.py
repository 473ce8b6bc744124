"""The post room: what gardens send back is looked at, asked about and merged; the command does the same."""

from __future__ import annotations

import html
import io
import re
import shlex
import shutil
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from threading import Barrier
from typing import Any

import pytest

import trialkit
from commands import run
from contents import contents
from desk_visitor import Visitor, folder_of, told
from english_left import english_left, english_said, texts_of
from returned_files import Good
from trialkit.desk.tray import Tray
from trialkit.desk.workspace import is_reserved
from trialkit.tables.table_schema import load_schema

POST = "/trial/fern/post/"
GARDENS = "/trial/fern/garden/"
NAMES = (
    "Autumn dose trial",
    "Fernsedge School",
    "Old Mill Library",
    "How heavy?",
    "harvested",
    "yes",
    *load_schema("heads").columns,
)
"""What the trial and the dropped sheet call things."""


@dataclass
class Copy:
    """The folder as it was, and the files that were dropped, for the commands that the desk shows."""

    folder: Path
    files: dict[str, bytes]

    def holds(self, visitor: Visitor) -> None:
        """The commands do the same as the desk did, byte for byte."""
        for line in visitor.shown_deeds()[-1][0]:
            _, command, name, *words = shlex.split(line)
            aside = self.folder / "mail"
            aside.mkdir(exist_ok=True)
            for file, data in self.files.items():
                (aside / file).write_bytes(data)
            run(command, self.folder / name, *(aside / word if word in self.files else word for word in words))
        assert contents(self.folder / "fern") == contents(folder_of(visitor))


@pytest.fixture
def copied(tmp_path: Path) -> Callable[..., Copy]:
    """Copy the folder of a desk as it is now."""

    def copy(visitor: Visitor, **files: bytes) -> Copy:
        place = tmp_path / f"copy {len(list(tmp_path.iterdir()))}"
        shutil.copytree(folder_of(visitor), place / "fern")
        return Copy(place, named(files))

    return copy


def named(files: Mapping[str, bytes]) -> dict[str, bytes]:
    """Names of files as they are written, for `fern__csv` stands `fern.csv`."""
    return {name.replace("__", "."): data for name, data in files.items()}


def drop(visitor: Visitor, **files: bytes) -> Any:
    """Drop files, and return the post room as it is then."""
    sent = [(io.BytesIO(data), name) for name, data in named(files).items()]
    answer = visitor.post(f"{POST}drop", {"files": sent})
    assert answer.status_code == 303, told(answer)
    return visitor.get(POST)


def fields(page: Any) -> list[str]:
    """Names of the fields by which a page asks, each once."""
    names = re.findall(r'name="((?:[0-9a-f]{16}|conflict)\.[^"]*)"', page.text)
    return [html.unescape(name) for name in dict.fromkeys(names)]


def of_kind(page: Any, kind: str) -> str:
    """Name of the one field that answers a kind of question."""
    (name,) = [one for one in fields(page) if f".{kind}" in one]
    return name


def answer(visitor: Visitor, what: str = "merge", **answers: str) -> Any:
    """Send the form of answers."""
    return visitor.post(f"{POST}answers", {"do": what, **answers})


def test_good_files_are_merged_as_the_command_does(laid_out: Visitor, good: Good, copied: Callable[..., Copy]) -> None:
    """What was read is told before anything is written; then it is merged, kept, and gone from the tray."""
    files = {"fern__xlsx": good.workbook(), "fern__json": good.phone()}
    before, copy = contents(folder_of(laid_out)), copied(laid_out, **files)
    page = drop(laid_out, **files)
    assert "Heads: 16 new" in told(page)
    assert told(page).count("can be merged") == 2
    assert contents(folder_of(laid_out)) == before
    assert answer(laid_out).status_code == 303
    copy.holds(laid_out)
    after = laid_out.get(POST)
    assert not Tray(folder_of(laid_out)).files()
    assert "fern.json (by A.B., for FERN)" in told(after)
    (entry,) = re.findall(r'href="(/trial/fern/post/original/\w+\.json)"', after.text)
    saved = laid_out.get(entry)
    assert saved.data == good.phone()
    assert saved.headers["Content-Disposition"].startswith("attachment")
    assert saved.mimetype == "application/octet-stream"
    assert laid_out.get(f"{POST}original/returns.json").status_code == 404
    assert laid_out.get(f"{POST}original/..%2ftrial.toml").status_code == 404


def test_two_at_once_lose_nothing(laid_out: Visitor, good: Good, tmp_path: Path) -> None:
    """A window of the desk and somebody else merge at the same moment: each waits for the other, and all is there."""
    heading, *rows = good.csv().splitlines(keepends=True)
    ours, theirs = (heading + "".join(rows[first::2]) for first in (0, 1))
    drop(laid_out, ours__csv=ours.encode())
    file = tmp_path / "theirs.csv"
    file.write_text(theirs, "utf-8")
    together = Barrier(2)

    def merge() -> bool:
        together.wait()
        return trialkit.Trial(folder_of(laid_out)).merge(file).ok

    with ThreadPoolExecutor(1) as other:
        merged = other.submit(merge)
        together.wait()
        assert answer(laid_out).status_code == 303
        assert merged.result()
    heads = trialkit.Trial(folder_of(laid_out)).heads()
    told_of = {(row["bucket"], int(row["head"])) for row in good.tables["heads"]}
    assert {(row.bucket, row.head) for row in heads.itertuples()} == told_of
    assert run("merge", folder_of(laid_out)).returncode == 0


def test_headings_are_mapped_from_a_list(laid_out: Visitor, good: Good, copied: Callable[..., Copy]) -> None:
    """A heading that nobody knows is asked with every column; what is answered is remembered for the next file."""
    sheet = good.csv().replace("weight_g", "How heavy?", 1).encode()
    copy = copied(laid_out, fern__csv=sheet)
    page = drop(laid_out, fern__csv=sheet)
    field = of_kind(page, "heading")
    assert "What does the column “How heavy?” hold?" in told(page)
    assert 'value="weight_g">Head weight (g)' in page.text
    assert "143.2" in page.text  # the column's own cells stand beside the question
    looked = answer(laid_out, "look", **{field: "weight_g"})
    assert looked.status_code == 303
    assert 'value="weight_g" selected' in laid_out.get(POST).text
    assert answer(laid_out, **{field: "weight_g"}).status_code == 303
    copy.holds(laid_out)
    assert "can be merged" in told(drop(laid_out, again__csv=sheet.replace(b"143.2", b"")))


def test_two_readings_are_chosen_with_an_example_from_the_sheet(
    laid_out: Visitor, good: Good, copied: Callable[..., Copy]
) -> None:
    """Dates are asked with radio buttons; each says what a cell of the sheet would be."""
    early = good.with_column("solution", "measured_on", lambda _: "03/09/26").csv("solution").encode()
    weights = good.with_cell("heads", 2, "weight_g", "1,152").csv().encode()
    files = {"solution__csv": early, "heads__csv": weights}
    copy = copied(laid_out, **files)
    page = drop(laid_out, **files)
    assert "“03/09/26” is then 3 September 2026" in told(page)
    assert "“1,152” is then 1.152" in told(page)
    refused = answer(laid_out)
    assert refused.status_code == 422
    assert "No file is answered yet" in told(refused)
    dates, decimals = of_kind(page, "option.dates"), of_kind(page, "option.decimals")
    assert answer(laid_out, **{dates: "day-first"}).status_code == 303
    waiting = laid_out.get(POST)
    assert [one.name for one in Tray(folder_of(laid_out)).files()] == ["heads.csv"]
    copy.files.pop("heads.csv")
    copy.holds(laid_out)
    assert of_kind(waiting, "option.decimals") == decimals
    assert answer(laid_out, **{decimals: "point"}).status_code == 303
    assert ",1152," in (folder_of(laid_out) / "heads.csv").read_text("utf-8")


def test_how_dates_are_read_is_asked_before_anything_is_refused(laid_out: Visitor, good: Good) -> None:
    """A file that waits for that says so first; a day that is the same in either order is no fault."""
    days = ["10/10/2026", "03/09/2026", "20/09/2026"]
    solution = good.changed("solution", lambda i, row: {**row, "measured_on": days[i % 3]})
    page = drop(laid_out, fern__csv=solution.csv("solution").encode())
    assert "waits for your answer" in told(page)
    assert "What stands in the way" not in told(page)
    assert answer(laid_out, **{of_kind(page, "option.dates"): "day-first"}).status_code == 303
    written = (folder_of(laid_out) / "solution.csv").read_text("utf-8")
    assert all(day in written for day in ("2026-10-10", "2026-09-03", "2026-09-20"))
    spoilt = solution.with_cell("solution", 1, "ph_before", "about 7").csv("solution").encode()
    page = drop(laid_out, late__csv=spoilt)
    said = told(page)
    assert "waits for your answer" in said
    assert said.index("What comes first in the dates?") < said.index("What stands in the way")
    answer(laid_out, "look", **{of_kind(page, "option.dates"): "day-first"})
    said = told(laid_out.get(POST))
    assert "cannot be merged" in said
    assert said.index("What stands in the way") < said.index("What comes first in the dates?")


def test_a_phone_file_is_put_right_in_the_phone_form(laid_out: Visitor, good: Good) -> None:
    """Which opens it; one that was cut off, or is of another trial, the form would not open."""
    heavy = good.with_cell("heads", 0, "weight_g", "99999")
    way = "open it in the garden's phone form, put it right there, and save it anew"
    assert way in html.unescape(told(drop(laid_out, fern__json=heavy.phone())))
    for other in (heavy.csv().encode(), good.phone(check="00000000"), heavy.phone(trial="another")):
        throw = re.findall(r'value="(throw:[0-9a-f]+)"', laid_out.get(POST).text)
        answer(laid_out, throw[0])
        said = html.unescape(told(drop(laid_out, other__json=other)))
        assert "cannot be merged" in said
        assert way not in said


def test_what_is_proposed_is_accepted(laid_out: Visitor, good: Good, copied: Callable[..., Copy]) -> None:
    """A label in which one letter is wrong; the row stands beside the question. In Spanish the same is written."""
    laid_out.client.set_cookie("desk-language", "es", domain="127.0.0.1")
    wrong = good.csv().replace(good.buckets[0], f"4{good.buckets[0][1:]}").encode()
    copy = copied(laid_out, fern__csv=wrong)
    page = drop(laid_out, fern__csv=wrong)
    assert "espera su respuesta" in told(page)
    assert 'class="at the-one"' in page.text
    assert answer(laid_out, **{of_kind(page, "accept"): "yes"}).status_code == 303
    copy.holds(laid_out)


def test_conflicts_are_settled_side_by_side(laid_out: Visitor, good: Good, copied: Callable[..., Copy]) -> None:
    """Before it is merged one sees what would be in conflict; with choices, file and choices are one deed."""
    drop(laid_out, fern__json=good.phone())
    answer(laid_out)
    other = good.with_cell("heads", 0, "weight_g", "150").with_cell("heads", 2, "weight_g", "151").csv().encode()
    copy = copied(laid_out, heads__csv=other)
    page = drop(laid_out, heads__csv=other)
    assert "2 in conflict" in told(page)
    assert "143.2 g fern.json (by A.B., for FERN), 1 October 2026" in told(page)
    assert "150 g heads.csv" in told(page)
    first, second = [name for name in fields(page) if name.startswith("conflict.")]
    assert answer(laid_out, **{first: "returned", second: "kept"}).status_code == 303
    assert [line.split()[1] for line in laid_out.desk.done[-1][1].command_lines] == ["merge", "merge"]
    copy.holds(laid_out)
    assert "Two values for one cell" not in told(laid_out.get(POST))
    weights = (folder_of(laid_out) / "heads.csv").read_text("utf-8")
    assert ",150," in weights
    assert ",151," not in weights


def test_a_choice_that_the_row_forbids_is_told_and_taken_by_nobody(laid_out: Visitor, good: Good) -> None:
    """A head that is said to be dead in another file, and has a weight."""
    drop(laid_out, first__csv=good.csv().encode())
    answer(laid_out)
    dead = good.changed(
        "heads", lambda i, row: {"bucket": row["bucket"], "head": row["head"], "outcome": "dead"} if i == 0 else row
    )
    page = drop(laid_out, heads__csv=dead.csv().encode())
    (name,) = [one for one in fields(page) if one.startswith("conflict.")]
    before = contents(folder_of(laid_out))
    answer(laid_out, "look", **{name: "returned"})
    assert "These choices cannot be taken" in told(laid_out.get(POST))
    assert contents(folder_of(laid_out)) == before


def test_a_file_corrects_the_record_with_a_reason(laid_out: Visitor, good: Good, copied: Callable[..., Copy]) -> None:
    """What it says otherwise is taken, and listed with the reason."""
    drop(laid_out, first__csv=good.csv().encode())
    answer(laid_out)
    other = good.with_cell("heads", 0, "weight_g", "150").csv().encode()
    copy = copied(laid_out, heads__csv=other)
    page = drop(laid_out, heads__csv=other)
    why = of_kind(page, "why")
    answer(laid_out, "look", **{why: "the scale's own list"})
    assert "143.2 g becomes 150 g" in told(laid_out.get(POST))
    assert answer(laid_out, **{why: "the scale's own list"}).status_code == 303
    copy.holds(laid_out)
    assert "Head weight: 143.2 g became 150 g . the scale's own list" in html.unescape(told(laid_out.get(POST)))


def test_many_merges_go_on_by_themselves(laid_out: Visitor, good: Good) -> None:
    """Four files that each correct the record, one call for each."""
    drop(laid_out, first__csv=good.csv().encode())
    answer(laid_out)
    files = {f"f{n}__csv": good.with_cell("heads", n, "weight_g", f"15{n}").csv().encode() for n in range(4)}
    page = drop(laid_out, **files)
    whys = {name: "read again" for name in fields(page) if name.endswith(".why")}
    assert len(whys) == 4
    assert laid_out.done(f"{POST}answers", {"do": "merge", **whys}).startswith(POST)
    assert not Tray(folder_of(laid_out)).files()
    told_of = told(laid_out.get(POST))
    assert all(f"became 15{n} g" in told_of for n in range(4))


def test_a_record_is_put_right_and_taken_back(laid_out: Visitor, good: Good, copied: Callable[..., Copy]) -> None:
    """Found by its label, however it is typed; the old value beside the new; every fault at once; undone by a link."""
    drop(laid_out, first__csv=good.csv().encode(), solution__csv=good.csv("solution").encode())
    answer(laid_out)
    bucket, unknown = good.buckets[0], laid_out.get(f"{POST}correct?label=zz99")
    assert (unknown.status_code, "no bucket" in told(unknown)) == (422, True)
    found = laid_out.get(f"{POST}correct?label={bucket.lower()}")
    assert f"Bucket {bucket}, head 1" in told(found)
    row = f"{POST}correct/heads/{bucket}/1"
    form = laid_out.get(row)
    assert "The record says: 143.2 g." in told(form)
    sent = dict(re.findall(r'name="(was\.\w+)" value="([^"]*)"', form.text))
    sent |= {name.removeprefix("was."): text for name, text in sent.items()}
    before = contents(folder_of(laid_out))
    bad = laid_out.post(row, sent | {"weight_g": "heavy", "why": " "})
    assert bad.status_code == 422
    assert "Say why" in told(bad)
    assert 'value="heavy"' in bad.text
    assert "Expected a number." in told(bad)
    silent = laid_out.post(row, sent | {"weight_g": "142", "why": " "})
    assert (silent.status_code, "Say why" in told(silent), 'value="142"' in silent.text) == (422, True, True)
    same = laid_out.post(row, sent | {"why": "no reason"})
    assert "there is nothing to correct" in told(same)
    late = laid_out.post(row, sent | {"was.weight_g": "140", "weight_g": "142", "why": "read 241"})
    assert "Meanwhile the record was changed. It now says: 143.2 g." in told(late)
    assert contents(folder_of(laid_out)) == before

    copy = copied(laid_out)
    assert (
        laid_out.post(row, sent | {"weight_g": "142", "note": "two  scales, 5 g", "why": "read 241"}).status_code == 303
    )
    copy.holds(laid_out)
    page = laid_out.get(POST)
    back = html.unescape(
        next(link for link in re.findall(r'href="([^"]+/correct/[^"]+)"', page.text) if "weight_g" in link)
    )
    undo = laid_out.get(back)
    assert 'value="143.2"' in undo.text
    assert "taken back: read 241" in undo.text
    again = dict(re.findall(r'name="(was\.\w+|[a-z_]+)" value="([^"]*)"', undo.text))
    again |= {name: again.get(f"was.{name}", "") for name in ("outcome", "marketable")}
    copy = copied(laid_out)
    assert laid_out.post(row, again).status_code == 303
    copy.holds(laid_out)
    assert ",143.2," in (folder_of(laid_out) / "heads.csv").read_text("utf-8")

    day = good.tables["solution"][0]["measured_on"]
    solution = f"{POST}correct/solution/{bucket}/{day}"
    form = laid_out.get(solution)
    sent = dict(re.findall(r'name="(was\.\w+)" value="([^"]*)"', form.text))
    sent |= {name.removeprefix("was."): text for name, text in sent.items()}
    copy = copied(laid_out)
    assert laid_out.post(solution, sent | {"ph_after": "6.0", "why": "read upside down"}).status_code == 303
    copy.holds(laid_out)
    assert laid_out.get(f"{POST}correct/heads/{bucket}/9").status_code == 404


def test_a_merged_file_is_taken_back(laid_out: Visitor, good: Good, copied: Callable[..., Copy]) -> None:
    """With a reason, as the command does it; what stays is told, its original is kept, and it can come again."""
    drop(laid_out, fern__xlsx=good.workbook())
    answer(laid_out)
    more = good.with_cell("heads", 5, "note", "bolting").with_cell("heads", 6, "note", "slugs").csv().encode()
    drop(laid_out, heads__csv=more)
    answer(laid_out)
    bucket, head = (good.tables["heads"][6][name] for name in ("bucket", "head"))
    trialkit.Trial(folder_of(laid_out)).correct(bucket, int(head), why="looked again", note="snails")
    page = laid_out.get(POST)
    (file,) = re.findall(r'name="file" value="(\w+\.csv)"', page.text)
    assert "Say why" in told(laid_out.post(f"{POST}take-back", {"file": file, "why": " ", "back": POST}))
    copy = copied(laid_out)
    assert laid_out.post(f"{POST}take-back", {"file": file, "why": "of last season"}).status_code == 303
    copy.holds(laid_out)
    after = laid_out.get(POST)
    assert "heads.csv 1 cell is empty again; 1 cell was corrected or changed since, and stays." in told(after)
    assert f"These stay: Bucket {bucket}, head {head}" in told(after)
    assert "of last season" in told(after)
    assert f'name="file" value="{file}"' not in after.text
    assert laid_out.get(f"{POST}original/{file}").data == more
    assert "was taken back already" in told(laid_out.post(f"{POST}take-back", {"file": file, "why": "x", "back": POST}))
    assert "can be merged" in told(drop(laid_out, heads__csv=more))
    assert answer(laid_out).status_code == 303
    assert "bolting" in (folder_of(laid_out) / "heads.csv").read_text("utf-8")


def test_gardens_join_and_give_up(laid_out: Visitor, copied: Callable[..., Copy]) -> None:
    """With reason and day, as the command does it; what is wrong is told with what was typed."""
    refused = laid_out.post(GARDENS, {"site": "FERN", "why": "", "blocks": "many", "on": "soon"})
    assert refused.status_code == 422
    for part in ("Say why", "whole number", "year-month-day"):
        assert part in told(refused)
    assert 'value="many"' in refused.text
    taken = laid_out.post(GARDENS, {"site": "FERN", "why": "wants to", "on": "2026-09-01"})
    assert "has buckets in this trial already" in told(taken)
    copy = copied(laid_out)
    assert (
        laid_out.post(
            GARDENS, {"site": "POND", "language": "es", "why": "a teacher asked", "on": "2026-09-01"}
        ).status_code
        == 303
    )
    copy.holds(laid_out)
    copy = copied(laid_out)
    page = laid_out.post(f"{GARDENS}MILL/withdraw", {"why": "moved away", "on": "2026-09-02"})
    assert page.status_code == 303
    copy.holds(laid_out)
    assert "This garden gave up" in told(laid_out.get(f"{GARDENS}MILL/"))
    copy = copied(laid_out)
    assert "Say why" in told(laid_out.post(f"{GARDENS}MILL/rejoin", {"why": " "}))
    page = laid_out.post(f"{GARDENS}MILL/rejoin", {"why": "a neighbour took it over", "on": "2026-09-05"})
    assert page.status_code == 303
    copy.holds(laid_out)
    assert "Nothing has come from this garden yet" in told(laid_out.get(f"{GARDENS}MILL/"))
    assert "MILL takes part" in told(laid_out.post(f"{GARDENS}MILL/rejoin", {"why": "once more"}))
    assert laid_out.get(f"{GARDENS}NOWHERE/").status_code == 404


def test_a_garden_is_told_what_is_missing_in_its_language(laid_out: Visitor, good: Good) -> None:
    """Heads, solution and visits; what the check asks; a message in Spanish for a Spanish garden."""
    sites = folder_of(laid_out) / "sites.csv"
    lines = sites.read_text("utf-8").splitlines()
    lines[1:] = [f"{line}{',es' if line.startswith('FERN') else ','}" for line in lines[1:]]
    sites.write_text("\n".join([f"{lines[0]},language", *lines[1:]]) + "\n", "utf-8")
    assert "nothing yet" in told(laid_out.get(GARDENS))
    nothing = laid_out.get(f"{GARDENS}FERN/?until=2026-11-05")
    assert "Nothing has come from this garden yet" in told(nothing)
    assert "5 de noviembre de 2026" in nothing.text
    last = good.buckets[-1]
    heads = good.changed(
        "heads", lambda i, row: {"bucket": row["bucket"], "head": row["head"]} if i == 15 else row
    ).with_cell("heads", 0, "weight_g", "1900")
    drop(laid_out, heads__csv=heads.csv().encode(), visits__csv=good.csv("visits").encode())
    assert answer(laid_out).status_code == 303
    page = laid_out.get(f"{GARDENS}FERN/?until=2026-11-05")
    assert f"What happened to head 2 of bucket {last}" in told(page)
    assert "What went into buckets" in told(page)
    message = html.unescape(re.search(r"<textarea[^>]*lang=\"es-US\"[^>]*>(.*?)</textarea>", page.text, re.DOTALL)[1])
    assert last in message
    assert "\n- " in message
    assert "What" not in message
    assert "1 of 16 heads missing" in told(laid_out.get(GARDENS))


def test_all_of_it_is_in_spanish(laid_out: Visitor, good: Good) -> None:
    """No page of the post room leaves English but where it says so, or strangers' texts."""
    drop(laid_out, fern__csv=good.csv().replace("weight_g", "How heavy?", 1).encode(), photo__csv=b"%PDF-1.7")
    laid_out.client.set_cookie("desk-language", "es", domain="127.0.0.1")
    for path in (POST, f"{POST}correct?label={good.buckets[0]}", GARDENS, f"{GARDENS}FERN/"):
        page = laid_out.get(path)
        assert 'lang="es' in page.text
        assert english_left(page.text, NAMES) == []


def in_spanish(page: Any) -> list[str]:
    """What of a page is English, but for what it quotes and what files hold; nothing says that it is."""
    main = page.text.partition("<main")[2].partition("</main>")[0]
    assert 'lang="es' in page.text
    assert 'lang="en"' not in main
    return english_said(texts_of(page.text), (*NAMES[:3], ", bucket", "Which dose grows the heaviest heads?"))


def test_what_is_wrong_is_told_in_spanish(laid_out: Visitor, good: Good) -> None:
    """On the page of the trial, beside the fields of a record, of a choice, and where nothing can be read at all."""
    drop(laid_out, first__csv=good.csv().encode())
    answer(laid_out)
    laid_out.client.set_cookie("desk-language", "es", domain="127.0.0.1")
    row = f"{POST}correct/heads/{good.buckets[0]}/1"
    sent = dict(re.findall(r'name="(was\.\w+)" value="([^"]*)"', laid_out.get(row).text))
    sent |= {name.removeprefix("was."): text for name, text in sent.items()}
    bad = laid_out.post(row, sent | {"weight_g": "heavy", "harvested_on": "2026-02-31", "outcome": "dead", "why": "x"})
    assert (bad.status_code, "Se espera: un número." in told(bad)) == (422, True)
    assert in_spanish(bad) == []

    dead = good.changed(
        "heads", lambda i, row: {"bucket": row["bucket"], "head": row["head"], "outcome": "dead"} if i == 0 else row
    )
    page = drop(laid_out, heads__csv=dead.csv().encode())
    answer(laid_out, "look", **{next(one for one in fields(page) if one.startswith("conflict.")): "returned"})
    page = laid_out.get(POST)
    assert "O corrija la fila entera." in told(page)
    assert in_spanish(page) == []

    heads = folder_of(laid_out) / "heads.csv"
    wrong = {0: "152 g", 1: "about 150", 2: "", 3: "9999", 4: "inf", 5: "1,152", 6: "１４５", 7: "14.3"}
    damaged = good.changed("heads", lambda i, row: row | ({"weight_g": wrong[i]} if i in wrong else {}))
    days = {8: "2026-02-31", 9: "03/04/26", 10: "46289", 11: "", 12: "2031-09-24", 13: "2026-08-21"}
    damaged = damaged.changed("heads", lambda i, row: row | ({"harvested_on": days[i]} if i in days else {}))
    damaged = damaged.with_cell("heads", 14, "outcome", "harvestd").with_cell("heads", 15, "marketable", "perhaps")
    heads.write_text(damaged.csv(), "utf-8")
    page = laid_out.get("/trial/fern/")
    rules = {one.rule for one in trialkit.Trial(folder_of(laid_out)).check().problems}
    assert len(rules) >= 15
    assert told(page).count("Se espera:") == 20
    assert in_spanish(page) == []

    (folder_of(laid_out) / "trial.toml").write_text("[layout]\nseed = 1,5\n", "utf-8")
    for path in ("/trial/fern/", POST, GARDENS):
        page = laid_out.get(path)
        assert "Los decimales llevan punto" in told(page)
        assert in_spanish(page) == []


@pytest.mark.parametrize(
    "name",
    [
        "../../trial.toml",
        "..\\..\\x.csv",
        "/etc/passwd",
        "con.csv",
        "a" * 400 + ".csv",
        "<b>.csv",
        "‮vsc.csv",
        "\ud800.csv",
        'a & calc.exe | b; $(c) `d` %PATH%!^\'"e".csv',
        "con .csv",
        "COM¹.csv",
        "conin$.csv",
    ],
)
def test_names_of_files_lead_nowhere(laid_out: Visitor, good: Good, name: str) -> None:
    """They are strangers' texts: nothing is written beside the tray, and none is markup."""
    before = contents(laid_out.desk.workspace.folder)
    shown = name.encode("utf-8", "replace").decode("utf-8")
    assert laid_out.post(f"{POST}drop", {"files": [(io.BytesIO(good.csv().encode()), shown)]}).status_code == 303
    (waiting,) = Tray(folder_of(laid_out)).files()
    assert waiting.path.parents[2] == waiting.path.parents[1].parent
    assert waiting.path.resolve().is_relative_to(waiting.path.parents[1])
    page = laid_out.get(POST)
    assert "<b>.csv" not in page.text
    assert "‮" not in page.text
    assert not set(waiting.name) & set("&|;^%$!`\"'<>")
    assert not is_reserved(waiting.name)
    assert contents(laid_out.desk.workspace.folder) == before
    answer(laid_out, f"throw:{waiting.id}")
    assert not Tray(folder_of(laid_out)).files()
    assert not waiting.path.exists()


def test_files_of_one_name_are_told_apart(laid_out: Visitor, good: Good, copied: Callable[..., Copy]) -> None:
    """Else the command that is shown could not be repeated: it names each file."""
    heads, solution = good.csv().encode(), good.csv("solution").encode()
    copy = copied(laid_out, **{"fern__csv": heads, "FERN-2__csv": solution})
    sent = [(io.BytesIO(heads), "fern.csv"), (io.BytesIO(solution), "FERN.csv")]
    assert laid_out.post(f"{POST}drop", {"files": sent}).status_code == 303
    assert [one.name for one in Tray(folder_of(laid_out)).files()] == ["fern.csv", "FERN-2.csv"]
    assert answer(laid_out).status_code == 303
    copy.holds(laid_out)


def test_the_tray_is_bounded_and_private(laid_out: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody else may read it; of more than it holds nothing is taken in; nothing is left of what is thrown away."""
    from trialkit.desk import tray

    drop(laid_out, a__csv=b"bucket,head\n")
    (waiting,) = Tray(folder_of(laid_out)).files()
    assert waiting.path.parents[2].stat().st_mode & 0o077 == 0
    monkeypatch.setattr(tray, "MOST_BYTES", 20)
    refused = laid_out.post(f"{POST}drop", {"files": [(io.BytesIO(b"x" * 21), "b.csv")], "back": POST})
    assert (refused.status_code, "wait at once" in told(refused)) == (422, True)
    assert f'href="{POST}"' in refused.text
    assert len(list(waiting.path.parents[1].iterdir())) == 1
    monkeypatch.setattr(tray, "MOST_FILES", 2)
    many = [(io.BytesIO(b""), f"{number}.csv") for number in range(2)]
    assert laid_out.post(f"{POST}drop", {"files": many, "back": POST}).status_code == 422
    assert [one.name for one in waiting.path.parents[1].iterdir()] == [waiting.id]
    answer(laid_out, f"throw:{waiting.id}")
    assert [one.name for one in (folder_of(laid_out) / ".desk").iterdir()] == [".lock"]


def test_cells_of_strangers_are_text(laid_out: Visitor, good: Good) -> None:
    """In headings, cells and names of sheets; the heading is answered all the same, by what it says."""
    heading, cell = '<img src=x onerror="alert(1)">\u202e', "<script>alert(2)</script>"
    sheet = good.csv().replace("note", heading.replace('"', ""), 1).replace(",yes,", f",yes,{cell}", 1)
    page = drop(laid_out, fern__csv=sheet.encode())
    for text in ("<img src=x", "<script>alert", "\u202e"):
        assert text not in page.text
    assert "&lt;script&gt;alert(2)" in page.text
    assert answer(laid_out, **{of_kind(page, "heading"): "note"}).status_code == 303
    assert cell in (folder_of(laid_out) / "heads.csv").read_text("utf-8")
    row = laid_out.get(f"{POST}correct?label={good.buckets[0]}")
    assert "<script>alert" not in row.text


def test_before_the_layout_nothing_is_read(laid_out: Visitor) -> None:
    """It says what to do first."""
    (folder_of(laid_out) / "layout.csv").unlink()
    assert "Lay the trial out first" in told(laid_out.get(POST))
    assert "no layout yet" in told(laid_out.get(GARDENS))
    assert "no layout yet" in told(laid_out.get(f"{GARDENS}FERN/"))


def test_no_file_is_no_traceback(laid_out: Visitor) -> None:
    """A form sent without a file, an answer for a file that is gone, a trial that cannot be read."""
    assert laid_out.post(f"{POST}drop", {}).status_code == 422
    assert answer(laid_out, "look", **{"0123456789abcdef.option.dates": "x"}).status_code == 303
    page = drop(laid_out, a__csv=b"bucket,head\n")
    field = fields(page)[0].partition(".")[0]
    assert answer(laid_out, **{f"{field}.option.dates": "never"}).status_code == 422
    (folder_of(laid_out) / "trial.toml").write_text("nonsense", "utf-8")
    broken = laid_out.get(POST)
    assert broken.status_code == 200
    assert "trial.toml" in told(broken)
    assert "Throw it away" in told(broken)
