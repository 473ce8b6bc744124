"""Starting a trial: the written protocol reads back as what was answered."""

import unicodedata
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.protocol.starting import NewTrial, copy_example, new_trial_text, start_trial
from trialkit.protocol.trial_protocol import parse_protocol
from trialkit.rules.trial_folder import check_trial
from trialkit.tables.nearest import plain_name
from trialkit.tables.problem import TrialError

ANSWERS = NewTrial(
    question="Which dose?",
    cultivars=["Larkmoor Butter", "Fenleaf"],
    doses=[2, 4.5],
    acidifiers=["white vinegar 5 %", "none"],
    sites=["fernsedge", "old-mill"],
    current_practice={"cultivar": "Fenleaf", "dose": 2, "acidifier": "none"},
    seed=7,
    nutrient="Blend L 9-12-30",
)
one_line = st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp", "Zs"]), min_size=1, max_size=30)


def test_a_new_trial_is_in_order(tmp_path: Path) -> None:
    """The files of a new trial pass the check of its stage, apart from nothing."""
    start_trial(tmp_path / "trial", ANSWERS)
    names = {path.name for path in (tmp_path / "trial").glob("[!.]*")}
    assert names == {"trial.toml", "sites.csv", "products.csv", "solution.csv", "visits.csv", "heads.csv"}
    assert check_trial(tmp_path / "trial", stage="plan").problems == ()
    with pytest.raises(FileExistsError, match="is not empty"):
        start_trial(tmp_path / "trial", ANSWERS)


@pytest.mark.parametrize(
    ("kind", "key", "value"), [("split-plot", "whole_plot", "dose"), ("volunteer blocks", "block_size", 3)]
)
def test_the_written_protocol_shows_other_layouts(kind: str, key: str, value: object) -> None:
    """The remarks about another kind of layout, put in place of the kind, give a protocol that reads."""
    lines = new_trial_text(ANSWERS).splitlines()
    rest = [line for line in lines if not line.startswith("kind = ")]
    wanted = (f'# kind = "{kind}"', f"# {key} = ")
    shown = [line.removeprefix("# ") if line.startswith(wanted) else line for line in rest]
    layout = parse_protocol("\n".join(shown)).layout
    assert (layout.kind, getattr(layout, key)) == (kind, value)


def test_what_may_be_filled_in_is_shown() -> None:
    """Optional keys stand in the file as remarks."""
    lines = new_trial_text(ANSWERS).splitlines()
    assert [line.split(" =")[0] for line in lines if line.startswith(("# started_on", "# season"))] == [
        "# started_on",
        "# season",
    ]


@given(question=st.text(st.characters(exclude_categories=["Cs", "Cc"], include_characters="\n\t"), max_size=80))
def test_free_text_reads_back(question: str) -> None:
    """Quotation marks, backslashes and new lines in the question come back as they were typed."""
    protocol = parse_protocol(new_trial_text(replace(ANSWERS, question=f"?{question}?")))
    assert (protocol.trial.question, protocol.trial.title) == (f"?{question}?", f"?{question}?")


@given(names=st.lists(one_line, min_size=2, max_size=4, unique_by=plain_name))
def test_names_read_back(names: list[str]) -> None:
    """Any different one-line names come back as levels, accents composed."""
    practice = {**ANSWERS.current_practice, "cultivar": names[0]}
    text = new_trial_text(replace(ANSWERS, cultivars=names, current_practice=practice))
    levels = parse_protocol(text).factors["cultivar"].levels
    assert levels == tuple(unicodedata.normalize("NFC", name) for name in names)


@pytest.mark.parametrize("name", ["", "two\nlines", "x" * 61, 'a"]\n[layout]\nseed = 1'])
def test_names_that_do_not_fit_are_refused(tmp_path: Path, name: str) -> None:
    """A name that would break the protocol or a label is refused before anything is written."""
    with pytest.raises(TrialError, match=r"factors\.cultivar"):
        start_trial(tmp_path / "trial", replace(ANSWERS, cultivars=["Fenleaf", name]))
    assert not (tmp_path / "trial").exists()


def test_examples_are_copied_whole_into_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An example is copied with its records, without links, and overwrites nothing."""
    source = tmp_path / "examples" / "small"
    (source / "returned").mkdir(parents=True)
    (source / "trial.toml").write_text("x", "utf-8")
    (source / "returned" / "a.csv").write_text("y", "utf-8")
    (source / "link").symlink_to("/etc/hostname")
    monkeypatch.setattr("trialkit.protocol.starting.resource_folder", lambda _name: tmp_path / "examples")
    copy_example("small", tmp_path / "mine")
    written = [path.relative_to(tmp_path / "mine").as_posix() for path in (tmp_path / "mine").rglob("[!.]*.*")]
    assert sorted(written) == ["returned/a.csv", "trial.toml"]
    copy_example("small", tmp_path / "planned", planned_only=True)
    assert [path.name for path in (tmp_path / "planned").glob("[!.]*")] == ["trial.toml"]
    with pytest.raises(FileExistsError, match="is not empty"):
        copy_example("small", tmp_path / "mine")
    with pytest.raises(ValueError, match="Choose one of: small"):
        copy_example("../small", tmp_path / "other")
