"""What trialkit wrote is known by its mark, and nothing else is written over."""

import io
import zipfile
from pathlib import Path

import pytest
from openpyxl import load_workbook

from trialkit.domain.errors import WrongCall
from trialkit.forms.workbook import record_workbook
from trialkit.report.data_package import data_package
from trialkit.rules.trial_folder import read_trial
from trialkit.tables.own_files import is_own, kind_of, ordinary_folder, page_mark, refuse_strangers

PAGE = f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n{page_mark("check")}\n</head>'.encode()
NOT_OURS = {
    "notes": b"my notes\n",
    "records": b"bucket,head,weight_g\n334X,1,142\n",
    "protocol": b'[trial]\nid = "autumn"\n',
    "another page": b'<!DOCTYPE html>\n<meta name="generator" content="Something else">',
    "a page of another kind": PAGE.replace(b"check", b"report"),
    "a page that quotes one": b"<!DOCTYPE html>\n" + b"x" * 2000 + PAGE,
    "another document": b'{"schema": "something-else-1"}',
    "a document of ours": b'{"schema": "trialkit-results-5"}',
    "half a zip": b"PK\x03\x04",
    "a layout with a column of somebody's own": b"bucket,site,my mark\n334X,FERN,x\n",
}


@pytest.mark.parametrize("name", NOT_OURS)
def test_what_is_not_ours_stays(tmp_path: Path, name: str) -> None:
    """It is left to the byte, and the message says what to do."""
    path = tmp_path / "check.html"
    path.write_bytes(NOT_OURS[name])
    with pytest.raises(WrongCall, match=r"was left alone and nothing was written\. Move it"):
        refuse_strangers(path, PAGE)
    assert path.read_bytes() == NOT_OURS[name]
    assert not is_own(path, "trialkit check")


def test_what_is_ours_may_be_written_anew(tmp_path: Path) -> None:
    """Of the same kind, or empty, or not there."""
    path = tmp_path / "check.html"
    refuse_strangers(path, PAGE)
    for data in (b"", PAGE, PAGE + b"older"):
        path.write_bytes(data)
        refuse_strangers(path, PAGE)
        assert is_own(path, "trialkit check")


def test_links_folders_and_devices_are_never_written_to(tmp_path: Path) -> None:
    """Whatever they lead to."""
    (tmp_path / "ours.html").write_bytes(PAGE)
    (tmp_path / "link.html").symlink_to(tmp_path / "ours.html")
    (tmp_path / "lost.html").symlink_to(tmp_path / "nowhere")
    (tmp_path / "folder.html").mkdir()
    for path in (tmp_path / "link.html", tmp_path / "lost.html"):
        with pytest.raises(WrongCall, match="is a link"):
            refuse_strangers(path, PAGE)
        assert not is_own(path, "trialkit check")
    for path in (tmp_path / "folder.html", Path("/dev/null")):
        with pytest.raises(WrongCall, match="no ordinary file"):
            refuse_strangers(path, PAGE)
    (tmp_path / "away").symlink_to(tmp_path)
    for path in (tmp_path / "away", tmp_path / "ours.html"):
        with pytest.raises(WrongCall, match="must be an ordinary folder"):
            ordinary_folder(path)
    assert ordinary_folder(tmp_path / "to come") == tmp_path / "to come"


def test_archives_are_ours_only_as_they_were_written(good_folder: Path) -> None:
    """A workbook that somebody filled in, and a package that somebody changed, are theirs."""
    trial = read_trial(good_folder)
    package, workbook = data_package(trial, "CC0-1.0", None), record_workbook(trial, "fernsedge")
    assert kind_of(package) != kind_of(workbook) is not None
    assert kind_of(package) is not None
    book = load_workbook(io.BytesIO(workbook))
    filled_in = io.BytesIO()
    book["heads"]["C2"] = 142
    book.save(filled_in)
    assert kind_of(filled_in.getvalue()) is None
    changed = io.BytesIO(package)
    with zipfile.ZipFile(changed, "a") as archive:
        archive.writestr("mine.txt", "mine")
    assert kind_of(changed.getvalue()) is None
    assert kind_of(package[:-100]) is None
