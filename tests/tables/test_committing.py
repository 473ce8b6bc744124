"""Several files change all or none; what somebody typed meanwhile is never moved over."""

from collections.abc import Callable
from pathlib import Path

import pytest

from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.tables import committing
from trialkit.tables.committing import ASIDE, COMMITTED, LOCK, STAGING, at_work, commit, write_outputs

OLD, NEW = {"heads.csv": b"old heads", "visits.csv": b"old visits"}, {"heads.csv": b"heads", "visits.csv": b"visits"}
Stopped = Callable[[], Path]


@pytest.fixture
def stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Stopped:
    """A folder whose new versions count, and none is in place yet; one more was to be taken away."""

    def make() -> Path:
        for name, data in (OLD | {"gone.html": b"page", "trial.toml": b""}).items():
            (tmp_path / name).write_bytes(data)
        with monkeypatch.context() as patched:
            patched.setattr(committing, "finish", lambda _: False)
            commit(tmp_path, NEW, ["gone.html"])
        assert (tmp_path / COMMITTED).is_dir()
        return tmp_path

    return make


def stands(folder: Path) -> dict[str, bytes]:
    """Return what stands in a folder for all to see."""
    return {path.name: path.read_bytes() for path in folder.glob("[!.]*") if path.name != "trial.toml"}


def test_the_next_command_ends_what_was_stopped(stopped: Stopped) -> None:
    """All is in place, what was to go is gone, and nothing is left over."""
    folder = stopped()
    with at_work(folder) as ended:
        assert ended
        assert stands(folder) == NEW
    assert {path.name for path in folder.glob(".*")} == {LOCK}
    with at_work(folder) as ended:
        assert not ended


@pytest.mark.parametrize("name", ["heads.csv", "gone.html"])
def test_what_was_typed_since_is_not_moved_over(stopped: Stopped, name: str) -> None:
    """Nothing at all is moved, until whoever typed it has put it elsewhere."""
    folder = stopped()
    (folder / name).write_bytes(b"typed by hand")
    said = rf"replace .*{name} was stopped.* nothing was overwritten\. Move it"
    with pytest.raises(WrongCall, match=said), at_work(folder):
        pass
    assert stands(folder) == OLD | {"gone.html": b"page", name: b"typed by hand"}
    (folder / name).rename(folder / "mine.txt")
    with at_work(folder):
        assert stands(folder) == NEW | {"mine.txt": b"typed by hand"}


def test_what_was_typed_into_a_new_version_stays(stopped: Stopped) -> None:
    """It had come into its place before the command was stopped."""
    folder = stopped()
    (folder / COMMITTED / "0.part").replace(folder / "heads.csv")
    (folder / "heads.csv").write_bytes(b"heads, and more")
    with at_work(folder):
        assert stands(folder) == NEW | {"heads.csv": b"heads, and more"}


def test_a_damaged_or_lost_version_is_told(stopped: Stopped) -> None:
    """Nothing is moved then."""
    folder = stopped()
    (folder / COMMITTED / "1.part").write_bytes(b"visi")
    with pytest.raises(NotComputed, match="damaged: keep it"), at_work(folder):
        pass
    (folder / COMMITTED / "1.part").unlink()
    with pytest.raises(NotComputed, match=r"visits.csv is lost"), at_work(folder):
        pass
    assert stands(folder) == OLD | {"gone.html": b"page"}


def test_what_was_only_begun_is_cleared_away(tmp_path: Path) -> None:
    """A folder that holds no trial keeps no lock either."""
    for name in (STAGING, ASIDE):
        (tmp_path / name).mkdir()
        (tmp_path / name / "0.part").write_bytes(b"half")
    with at_work(tmp_path) as ended:
        assert not ended
    assert not list(tmp_path.iterdir())


def test_outputs_are_written_all_or_none(tmp_path: Path) -> None:
    """A stranger's file in one place, or a link in place of a folder, and none is written."""
    page = b'<!DOCTYPE html>\n<meta name="generator" content="trialkit check">'
    (tmp_path / "results").mkdir()
    (tmp_path / "results" / "check-B.html").write_bytes(b"mine")
    with pytest.raises(WrongCall, match=r"check-B.html was not written by trialkit"):
        write_outputs(tmp_path, {"results/check-A.html": page, "results/check-B.html": page})
    assert [path.name for path in tmp_path.rglob("*")] == ["results", "check-B.html"]
    (tmp_path / "forms").symlink_to(tmp_path / "results")
    with pytest.raises(WrongCall, match="ordinary folder"):
        write_outputs(tmp_path, {"forms/check-A.html": page})
