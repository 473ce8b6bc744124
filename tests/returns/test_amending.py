"""A garden joins a trial that stands, withdraws or rejoins: what stood stays to the byte, old forms are still taken."""

import csv
import json
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

import merge_crash_points
from contents import contents
from returned_files import good_return
from trialkit.documents.answers import SiteAnswer
from trialkit.documents.returns import ReturnFinding
from trialkit.domain.errors import WrongCall
from trialkit.forms.pack import garden_pack
from trialkit.forms.phone import phone_form
from trialkit.forms.workbook import record_workbook
from trialkit.returns.amending import add_garden, rejoin_garden, withdraw_garden
from trialkit.returns.merge_files import merge_files
from trialkit.returns.still_missing import still_missing
from trialkit.rules.form_marks import form_marks
from trialkit.rules.trial_folder import check_trial, read_trial
from trialkit.tables.committing import COMMITTED, STAGING
from trialkit.tables.problem import TrialError

GOOD = good_return()
DAY = date(2026, 9, 1)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A trial that is laid out, without any record."""
    return GOOD.write_trial(tmp_path / "trial")


def joins(folder: Path, site: str = "BARN", *, blocks: int | None = None, why: str = "asked to") -> SiteAnswer:
    """Let a garden join."""
    return add_garden(folder, site, blocks=blocks, why=why, on=DAY)


def withdraws(folder: Path, site: str = "MILL", why: str = "moved away") -> SiteAnswer:
    """Let a garden withdraw."""
    return withdraw_garden(folder, site, why=why, on=date(2026, 9, 20))


def rows(path: Path) -> list[dict[str, str]]:
    """Read a table."""
    with path.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream))


def fact(finding: ReturnFinding, name: str) -> object:
    """Return what a finding tells under a name."""
    return next(one.value for one in finding.facts if one.name == name)


def merged(folder: Path, name: str, data: bytes | str) -> tuple[bool, list[tuple[str, str]]]:
    """Merge a file; return whether it was merged, and rule and case of what was refused."""
    path = folder.parent / name
    path.write_bytes(data.encode("utf-8") if isinstance(data, str) else data)
    (outcome,) = merge_files(folder, [path]).files
    return outcome.merged, [(one.rule, one.case) for one in outcome.findings if one.verdict == "refused"]


def test_a_garden_joins(folder: Path) -> None:
    """Its rows come last, everything before them is as it was; the change is told with number, day and reason."""
    before = contents(folder)
    made = joins(folder)
    after = contents(folder)
    for name in ("layout.csv", "sites.csv"):
        assert after[name].startswith(before[name])
    assert {name for name in after if after[name] != before.get(name)} == set(made.changed)
    own = [row for row in rows(folder / "layout.csv") if row["site"] == "BARN"]
    assert tuple(row["bucket"] for row in own) == made.buckets
    assert pd.DataFrame(own).groupby(["block", "cultivar", "dose_tsp"]).size().tolist() == [1] * 8
    assert rows(folder / "amendments.csv") == [
        {"layout_version": "2", "amended_on": "2026-09-01", "site": "BARN", "change": "joined", "blocks": "2",
         "why": "asked to"}
    ]  # fmt: skip
    assert check_trial(folder, stage="layout").problems == ()


def test_the_lots_of_a_garden_that_joins_are_its_own(tmp_path: Path) -> None:
    """They are the same whichever other gardens joined before."""
    first, second = (GOOD.write_trial(tmp_path / name) for name in ("one", "two"))
    alone = joins(first)
    joins(second, "AAAA")
    assert joins(second).buckets == alone.buckets
    own = [[row for row in rows(one / "layout.csv") if row["site"] == "BARN"] for one in (first, second)]
    assert own[0] == own[1]


@pytest.mark.parametrize(
    ("end", "mark", "last"),
    [("\r\n", "\ufeff", "\r\n"), ("\n", "", ""), ("\r\n", "", "")],
    ids=["Windows", "cut", "both"],
)
def test_tables_that_a_spreadsheet_wrote(folder: Path, end: str, mark: str, last: str) -> None:
    """Line ends, a byte-order mark, a missing last line end and the order of columns stay; the row fits beneath."""
    sites = [line.split(",") for line in (folder / "sites.csv").read_text("utf-8").splitlines()]
    turned = end.join(",".join([line[1], line[0], *line[2:]]) for line in sites)
    (folder / "sites.csv").write_bytes((mark + turned + last).encode())
    layout = (folder / "layout.csv").read_text("utf-8").rstrip("\n").replace("\n", end)
    (folder / "layout.csv").write_bytes((mark + layout + last).encode())
    joins(folder)
    data = (folder / "layout.csv").read_bytes()
    assert data.startswith((mark + layout + end).encode())
    assert data.count(b"\n") == data.count(end.encode())
    assert rows(folder / "sites.csv")[-1]["site"] == "BARN"
    assert check_trial(folder, stage="layout").problems == ()


def test_a_garden_that_sites_csv_has_already(folder: Path) -> None:
    """Written in with its water beforehand, it is laid out and its row stays."""
    text = (folder / "sites.csv").read_text("utf-8") + "BARN,The Barn,home,well,210,7.9,8,\n"
    (folder / "sites.csv").write_text(text, encoding="utf-8")
    assert "sites.csv" not in joins(folder, blocks=1).changed
    assert (folder / "sites.csv").read_text("utf-8") == text
    assert sum(row["site"] == "BARN" for row in rows(folder / "layout.csv")) == 4
    assert check_trial(folder, stage="layout").problems == ()


def test_a_garden_withdraws(folder: Path) -> None:
    """What it recorded stays, what it did not is asked for no more, whether rows are blank or absent."""
    assert merged(folder, "heads.csv", GOOD.csv()) == (True, [])
    mill = [row["bucket"] for row in rows(folder / "layout.csv") if row["site"] == "MILL"]
    with (folder / "heads.csv").open("a", encoding="utf-8") as stream:
        stream.write(f"{mill[0]},1,2026-08-24,harvested,2026-09-22,2026-09-19,150,yes,\n{mill[0]},2,,,,,,,\n")
    told = {problem.rule for problem in check_trial(folder).problems}
    assert {"TK-H20", "TK-H08"} <= told
    layout = (folder / "layout.csv").read_bytes()
    made = withdraws(folder)
    assert (made.layout_version, made.blocks, made.buckets, made.changed) == (2, None, (), ("amendments.csv",))
    assert (folder / "layout.csv").read_bytes() == layout
    result = check_trial(folder)
    assert result.trial is not None
    assert not {problem.rule for problem in result.problems} & {"TK-H20", "TK-H08", "TK-H09"}
    assert (result.trial.heads["bucket"] == mill[0]).sum() == 2
    assert len(result.trial.layout) == 16


def test_merging_asks_nothing_of_a_garden_that_withdrew(folder: Path) -> None:
    """Some of its heads come, others never will."""
    mill = [row["bucket"] for row in rows(folder / "layout.csv") if row["site"] == "MILL"]
    text = f"bucket,head,transplanted_on,outcome\n{mill[0]},1,2026-08-24,dead\n"
    assert not merged(folder, "some.csv", text)[0]
    withdraws(folder)
    assert merged(folder, "some.csv", text) == (True, [])


def test_a_garden_that_withdrew_rejoins(folder: Path) -> None:
    """It is asked for all of its heads again, on the forms that it had; both changes stay; it may withdraw again."""
    before = read_trial(folder, stage="layout")
    forms = garden_pack(before, "MILL"), record_workbook(before, "MILL")
    layout = (folder / "layout.csv").read_bytes()
    withdraws(folder)
    assert still_missing(read_trial(folder, stage="layout"), {})["MILL"].withdrew
    made = rejoin_garden(folder, "MILL", why="a neighbour took it over", on=date(2026, 9, 22))
    assert (made.change, made.layout_version, made.changed) == ("rejoined", 3, ("amendments.csv",))
    trial = read_trial(folder, stage="layout")
    assert len(still_missing(trial, {})["MILL"].heads) == 8
    assert (garden_pack(trial, "MILL"), record_workbook(trial, "MILL")) == forms
    assert (folder / "layout.csv").read_bytes() == layout
    with pytest.raises(WrongCall, match="MILL takes part: it did not withdraw"):
        rejoin_garden(folder, "MILL", why="once more", on=date(2026, 9, 23))
    withdraws(folder)
    told = [(row["change"], row["why"]) for row in rows(folder / "amendments.csv")]
    assert told == [("withdrew", "moved away"), ("rejoined", "a neighbour took it over"), ("withdrew", "moved away")]
    assert read_trial(folder, stage="layout").amended.withdrawn == {"MILL"}


def test_every_fault_of_a_call_is_told_at_once_and_nothing_written(folder: Path) -> None:
    """No reason, a day that is none, a garden that is there already, or unknown, with the nearest."""
    withdraws(folder)
    before = contents(folder)
    with pytest.raises(
        WrongCall, match=r"(?s)needs its reason.*lies between 2000-01-01 and.*has buckets in this trial"
    ):
        add_garden(folder, "FERN", blocks=None, why=" ", on=date(1999, 1, 1))
    with pytest.raises(WrongCall, match=r"(?s)needs its reason.*no garden 'FRN'.*Did you mean FERN"):
        withdraws(folder, "FRN", "two\nlines")
    with pytest.raises(WrongCall, match="short name has letters"):
        joins(folder, "../x")
    with pytest.raises(WrongCall, match="MILL withdrew already"):
        withdraws(folder)
    assert contents(folder) == before
    (folder / "layout.csv").unlink()
    with pytest.raises(WrongCall, match=r"no layout\.csv yet"):
        joins(folder)


def test_a_folder_with_errors_is_left_alone(folder: Path) -> None:
    """Every error is told, nothing is written."""
    (folder / "amendments.csv").write_text("layout_version,amended_on,site,change,blocks,why\n3,x,FERN,left,,y\n")
    before = contents(folder)
    with pytest.raises(TrialError) as told:
        joins(folder)
    assert {problem.rule for problem in told.value.problems} >= {"TK-V11", "TK-L11"}
    assert contents(folder) == before


def test_forms_of_before_are_taken_and_stay_the_same(folder: Path) -> None:
    """A garden that joins or withdraws changes no other garden's forms, and returns on them are merged."""
    trial = read_trial(folder, stage="layout")
    forms = garden_pack(trial, "FERN"), phone_form(trial, "FERN"), record_workbook(trial, "FERN")
    joins(folder)
    withdraws(folder)
    trial = read_trial(folder, stage="layout")
    assert (garden_pack(trial, "FERN"), phone_form(trial, "FERN"), record_workbook(trial, "FERN")) == forms
    assert merged(folder, "phone.json", GOOD.phone()) == (True, [])
    assert "layout version 1" in garden_pack(trial, "FERN")
    assert "layout version 2" in garden_pack(trial, "BARN")


def test_forms_of_a_garden_that_joined(folder: Path) -> None:
    """They carry the version in which it joined; the trial as it was before refuses them by that number."""
    old = GOOD.write_trial(folder.parent / "before")
    made = joins(folder)
    marks = form_marks(read_trial(folder, stage="layout"), "BARN")
    row = {"bucket": made.buckets[0], "head": "1", "transplanted_on": "2026-09-02", "outcome": "dead"}
    rest = [{**row, "bucket": bucket} for bucket in made.buckets[1:]]
    heads = pd.DataFrame([row, *rest]).to_dict("records")
    document = json.loads(type(GOOD)(tables={"heads": heads}).phone())  # type: ignore[arg-type]
    saved = json.dumps({**document, **vars(marks), "site": "BARN"})
    assert merged(folder, "barn.json", saved) == (True, [])
    path = folder.parent / "barn.json"
    (refused,) = merge_files(old, [path]).files[0].findings
    assert (refused.rule, refused.case) == ("TK-R47", "layout")
    assert (fact(refused, "ours"), fact(refused, "theirs")) == (1, "2")
    early = json.dumps({**document, **vars(form_marks(read_trial(folder, stage="layout"), "FERN")), "site": "BARN"})
    assert merged(folder, "early.json", early) == (False, [("TK-R47", "layout")])


def test_a_csv_of_another_trial_is_refused_by_its_name(folder: Path) -> None:
    """Labels of gardens are those of one trial alone; the trial beside this one whose they are is named."""
    other = GOOD.write_trial(folder.parent / "other")
    text = (other / "trial.toml").read_text("utf-8").replace('"autumn-dose"', '"spring-dose"')
    (other / "trial.toml").write_text(text, encoding="utf-8")
    label = joins(other, "HALL").buckets[0]
    before = contents(folder)
    path = folder.parent / "hall.csv"
    path.write_text(f"bucket,head,transplanted_on,outcome\n{label.lower()},1,2026-08-24,dead\n", encoding="utf-8")
    (refused,) = merge_files(folder, [path]).files[0].findings
    assert (refused.rule, refused.case, fact(refused, "theirs")) == ("TK-R30", "another trial", "spring-dose")
    assert contents(folder) == before
    (other / "trial.toml").write_text("[trial", encoding="utf-8")
    (refused,) = merge_files(folder, [path]).files[0].findings
    assert fact(refused, "theirs") == "other"


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_columns_of_a_csv_that_tell_its_trial(folder: Path, line_end: str) -> None:
    """Rows of another trial or of a layout that is still to come are refused by name, with the row; ours are taken."""
    lines = GOOD.csv().splitlines()

    def told(trial: str, version: str) -> str:
        heading = f"Trial,{lines[0]},layout version"
        return line_end.join([heading, *(f"{trial},{line},{version}" for line in lines[1:])]) + line_end

    before = contents(folder)
    for trial, version, case in (
        ("spring-dose", "1", "rows"),
        ("autumn-dose", "2", "rows version"),
        ("", "x", "rows version"),
    ):
        (folder.parent / "other.csv").write_text(told(trial, version), encoding="utf-8", newline="")
        (refused,) = merge_files(folder, [folder.parent / "other.csv"]).files[0].findings
        assert (refused.rule, refused.case, refused.row) == ("TK-R47", case, 2)
        assert fact(refused, "text") == (version if case != "rows" else trial)
    assert contents(folder) == before
    assert merged(folder, "ours.csv", told("autumn-dose", "1")) == (True, [])
    plain = GOOD.write_trial(folder.parent / "plain")
    assert merged(plain, "plain.csv", GOOD.csv()) == (True, [])
    assert (folder / "heads.csv").read_bytes() == (plain / "heads.csv").read_bytes()


def test_a_table_with_other_marks_between_cells_is_not_appended_to(folder: Path) -> None:
    """Rows with commas would spoil it: nothing is written."""
    text = (folder / "sites.csv").read_text("utf-8").replace(",", ";")
    (folder / "sites.csv").write_text(text, encoding="utf-8")
    with pytest.raises((TrialError, WrongCall)):
        joins(folder)
    assert (folder / "sites.csv").read_text("utf-8") == text


def test_labels_that_a_trial_beside_this_one_has_too_are_told(folder: Path) -> None:
    """A copy of the trial under the same id gives the same labels: that is said once they are made."""
    other = GOOD.write_trial(folder.parent / "other")
    assert joins(other).labels_also_in == ()
    assert joins(folder).labels_also_in == ("autumn-dose",)


def test_killed_anywhere_the_layout_is_old_or_new(folder: Path, tmp_path: Path) -> None:
    """Gardens, layout and amendments change together, and no reader takes a mixture for either."""
    into = tmp_path / "copies"
    into.mkdir()
    command = [sys.executable, merge_crash_points.__file__, folder, into, "joins", "BARN"]
    run = subprocess.run(command, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    copies = [into / str(number) for number in range(int(run.stdout) + 1)]
    before, after = contents(folder), contents(copies[-1])
    found, told = [], 0
    for copy in copies:
        result = check_trial(copy, stage="layout")
        if {problem.rule for problem in result.errors} == {"TK-R55"}:
            told += 1
        else:
            assert result.trial is not None
            assert len(result.trial.layout) == len(result.trial.sites) * 8 == 16 + 8 * len(result.trial.amendments)
        merge_files(copy)
        found.append("old" if contents(copy) == before else "new" if contents(copy) == after else "mixed")
        assert not (copy / STAGING).exists()
        assert not (copy / COMMITTED).exists()
    assert set(found) == {"old", "new"}
    assert found == sorted(found, reverse=True)
    assert told > 3


def test_two_gardens_at_once(folder: Path) -> None:
    """Both join, one after the other, each with a number of its own."""
    with ThreadPoolExecutor() as pool:
        made = list(pool.map(lambda site: joins(folder, site), ("BARN", "HALL")))
    assert {one.layout_version for one in made} == {2, 3}
    assert len(rows(folder / "layout.csv")) == 32
    assert check_trial(folder, stage="layout").problems == ()
