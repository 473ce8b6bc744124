"""``trialkit county`` as a user runs it: set once, shown, and printed on the handout."""

from __future__ import annotations

from pathlib import Path

from answers import told
from commands import DATA_ERROR, DONE, run, start


def test_it_is_set_once_and_shown(tmp_path: Path) -> None:
    """Options set keys, others stay; without options what counts is shown, in words and by the published schema."""
    empty = run("county", tmp_path)
    assert (empty.returncode, "No county is set" in empty.stdout) == (DONE, True)
    done = start("county", tmp_path, "--name", "Larkmoor County", "--contact", "Desk, 12 Mill Lane")
    assert done.returncode == DONE, done.stderr
    run("county", tmp_path, "--measures", "metric", "--sowing", "Sow in March.")
    (tmp_path / "spring").mkdir()
    answer = told("county", tmp_path / "spring")["answer"]
    assert answer["county"] == {
        "name": "Larkmoor County", "programme": "", "contact": "Desk, 12 Mill Lane", "sowing": "Sow in March.",
        "logo": None, "language": None, "measures": "metric",
    }  # fmt: skip
    assert "Desk, 12 Mill Lane" in run("county", tmp_path).stdout
    before = (tmp_path / "county.toml").read_bytes()
    run("county", tmp_path, "--name", "Larkmoor County")
    assert (tmp_path / "county.toml").read_bytes() == before


def test_all_that_does_not_fit_is_told_at_once_and_nothing_is_written(tmp_path: Path) -> None:
    """By option; control characters are not printed as they are."""
    (tmp_path / "logo.png").write_bytes(b"GIF89a")
    done = run(
        "county", tmp_path, "--programme", "red \x1b[31m", "--contact", "a" * 161, "--logo", tmp_path / "logo.png"
    )
    assert done.returncode == DATA_ERROR
    for said in ("--name: found nothing", "--programme: ", "--contact: ", "at most 160 characters", "logo.png, --logo"):
        assert said in done.stderr, said
    assert "4 problems to fix first." in done.stderr
    assert "\x1b[31m" not in done.stderr.replace("\x1b[31m\x1b[1merror", "")
    assert not (tmp_path / "county.toml").exists()
    assert run("county", tmp_path, "--name", "L", "--logo", tmp_path / "none.png").returncode == DATA_ERROR


def test_new_trials_tell_its_measures(tmp_path: Path) -> None:
    """And none where no county is set."""
    given = ["--question", "Which?", "--site", "FERN", "--cultivar", "A", "--cultivar", "B", "--current", "A"]
    run("county", tmp_path, "--name", "L", "--measures", "kitchen")
    assert run("new", tmp_path / "spring", *given).returncode == DONE
    assert '\nmeasures = "kitchen" ' in (tmp_path / "spring" / "trial.toml").read_text("utf-8")
    (tmp_path / "county.toml").unlink()
    assert run("new", tmp_path / "autumn", *given).returncode == DONE
    assert '\n# measures = "both" ' in (tmp_path / "autumn" / "trial.toml").read_text("utf-8")
