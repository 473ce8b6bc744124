"""Nothing is overwritten or taken away that trialkit did not write."""

import io
from pathlib import Path

import pytest
from openpyxl import load_workbook

from commands import DATA_ERROR, DONE, WRONG_CALL, run
from contents import contents
from returned_files import good_return
from small_trial import write_small_trial

NOT_OURS = "Move it elsewhere"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small trial with records."""
    folder = tmp_path_factory.mktemp("alone") / "trial"
    write_small_trial(folder, cultivars=2, blocks=2, days=False)
    return folder


@pytest.fixture
def trial(made: Path, tmp_path: Path) -> Path:
    """A copy of it."""
    for name, data in contents(made).items():
        (tmp_path / "trial" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "trial" / name).write_bytes(data)
    return tmp_path / "trial"


@pytest.mark.parametrize("name", ["", "heads.csv", "trial.toml", "new.csv", "forms", "results/results.json"])
def test_a_package_is_written_to_a_zip_only(trial: Path, name: str) -> None:
    """Never to a record, the protocol or anything else of the trial, there or not."""
    before = contents(trial)
    done = run("pack", trial, "--into", trial / name if name else "")
    assert done.returncode == WRONG_CALL
    assert "does not end in .zip: name a file such as trial.zip" in done.stderr
    assert contents(trial) == before


def test_a_package_replaces_a_package_alone(trial: Path, tmp_path: Path) -> None:
    """Its own is written anew; another zip, a link and a folder stay."""
    for _ in range(2):
        assert run("pack", trial, "--into", tmp_path / "mine.zip").returncode == DONE
    (tmp_path / "photos.zip").write_bytes(b"PK\x03\x04 photos")
    (tmp_path / "link.zip").symlink_to(tmp_path / "mine.zip")
    (tmp_path / "folder.zip").mkdir()
    before = contents(tmp_path)
    for name, told in (("photos.zip", NOT_OURS), ("link.zip", "is a link"), ("folder.zip", "is a directory")):
        done = run("pack", trial, "--into", tmp_path / name)
        assert done.returncode == WRONG_CALL
        assert told in done.stderr
    assert contents(tmp_path) == before


def test_pages_of_a_check_take_away_their_own_alone(trial: Path, tmp_path: Path) -> None:
    """Of an earlier check; a page of somebody's own with such a name stays, and a link is not followed."""
    results = trial / "results"
    results.mkdir()
    (results / "check-mine.html").write_text("<!DOCTYPE html>mine", "utf-8")
    assert run("check", trial, "--html").returncode == DONE
    (results / "check-gone.html").write_bytes((results / "check.html").read_bytes())
    assert run("check", trial, "--html").returncode == DONE
    assert sorted(path.name for path in results.iterdir()) == ["check-mine.html", "check.html"]
    results.rename(tmp_path / "elsewhere")
    results.symlink_to(tmp_path / "elsewhere")
    before = contents(tmp_path / "elsewhere")
    done = run("check", trial, "--html")
    assert done.returncode == WRONG_CALL
    assert "link" in done.stderr
    assert contents(tmp_path / "elsewhere") == before


def test_a_filled_in_workbook_is_not_printed_over(tmp_path: Path) -> None:
    """Somebody filled in the workbook in the folder of forms: all forms stay as they are until it is elsewhere."""
    folder = good_return().write_trial(tmp_path / "trial")
    for _ in range(2):
        assert run("forms", folder).returncode == DONE
    path = folder / "forms" / "record-FERN.xlsx"
    book, filled_in = load_workbook(io.BytesIO(path.read_bytes())), io.BytesIO()
    book["heads"]["C2"] = 142
    book.save(filled_in)
    path.write_bytes(filled_in.getvalue())
    before = contents(folder)
    done = run("forms", folder)
    assert done.returncode == WRONG_CALL
    assert "record-FERN.xlsx was not written by trialkit as it is now" in done.stderr
    assert contents(folder) == before


def test_notes_in_the_place_of_an_output_stay(trial: Path, tmp_path: Path) -> None:
    """A layout, results and a report of somebody's own making."""
    folder = good_return().write_trial(tmp_path / "laid")
    (folder / "layout.csv").write_text("where,what\nby the fence,the red one\n", "utf-8")
    (trial / "results").mkdir()
    (trial / "results" / "results.json").write_text('{"mine": 1}', "utf-8")
    for words in (("layout", folder), ("analyse", trial)):
        before = contents(tmp_path)
        done = run(*words)
        assert done.returncode == WRONG_CALL
        assert NOT_OURS in done.stderr
        assert contents(tmp_path) == before


def test_a_record_that_cannot_be_read_keeps_the_layout(tmp_path: Path) -> None:
    """As a spreadsheet program saved it, with line ends of its own."""
    folder = good_return().write_trial(tmp_path / "trial")
    (folder / "heads.csv").write_bytes(good_return().csv().replace("\n", "\r").encode("utf-16"))
    before = contents(folder)
    assert run("check", folder).returncode == DATA_ERROR
    done = run("layout", folder)
    assert done.returncode == WRONG_CALL
    assert "has records already" in done.stderr
    assert contents(folder) == before
