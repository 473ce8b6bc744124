"""Headings that the record does not have are asked about, all questions come at once, and answers are remembered."""

from __future__ import annotations

from pathlib import Path

import pytest

from contents import contents
from returned_files import Good, good_return
from trialkit.documents.returns import Answers, FileOutcome
from trialkit.domain.errors import WrongCall
from trialkit.returns.answering import Given, given, read_answers
from trialkit.returns.merge_files import merge_files
from trialkit.rules.kept_documents import HEADINGS, kept_documents
from trialkit.tables.problem import TrialError
from trialkit.words.repair_words import finding_sentence

OWN = {
    "Tag": "bucket",
    "Plant": "head",
    "Set out": "transplanted_on",
    "Result": "outcome",
    "Cut on": "harvested_on",
    "Seen unripe": "last_not_ready_on",
    "Scale": "weight_g",
    "Sellable": "marketable",
    "Remarks": "note",
}
"""Headings of somebody's own, in the order of the columns of heads."""


@pytest.fixture
def good() -> Good:
    """A garden's return."""
    return good_return()


@pytest.fixture
def folder(good: Good, tmp_path: Path) -> Path:
    """A trial before its records."""
    return good.write_trial(tmp_path / "trial")


def headed(good: Good, path: Path, *headings: str) -> Path:
    """Write the heads under other headings."""
    lines = good.csv().splitlines()
    path.write_text("\n".join([",".join(headings), *lines[1:]]), "utf-8")
    return path


def asked(outcome: FileOutcome) -> list[str]:
    """Return what is asked and refused."""
    return [finding_sentence(finding) for finding in outcome.findings if finding.verdict != "repaired"]


def test_a_file_none_of_whose_headings_is_known_is_asked_about(folder: Path, good: Good, tmp_path: Path) -> None:
    """Every heading in one go; what names buckets is proposed as the bucket; once answered the record is the same."""
    path = headed(good, tmp_path / "own.csv", *OWN)
    before = contents(folder)
    (outcome,) = merge_files(folder, [path]).files
    questions = asked(outcome)
    assert len(questions) == len(OWN)
    assert '--heading "Tag=bucket", one of bucket, head, transplanted_on' in questions[0]
    assert all(f'--heading "{heading}=' in question for heading, question in zip(OWN, questions, strict=True))
    assert contents(folder) == before
    answers = given({"headings": OWN}, "answers.toml")
    assert merge_files(folder, [path], answers).ok
    plain = good.write_trial(tmp_path / "plain")
    (tmp_path / "heads.csv").write_text(good.csv(), "utf-8")
    assert merge_files(plain, [tmp_path / "heads.csv"]).ok
    assert (folder / "heads.csv").read_bytes() == (plain / "heads.csv").read_bytes()


def test_the_next_file_with_the_same_headings_is_read_alike(folder: Path, good: Good, tmp_path: Path) -> None:
    """With a note; one with other headings is asked about, and the same again changes no byte."""
    answers = given({"headings": OWN | {"Remarks": ""}}, "answers.toml")
    path = headed(good, tmp_path / "own.csv", *OWN)
    assert merge_files(folder, [path], answers).ok
    before = contents(folder)
    (next_time,) = merge_files(folder, [headed(good, tmp_path / "next.csv", *OWN)]).files
    assert next_time.merged
    notes = [finding_sentence(finding) for finding in next_time.findings]
    assert any('"Scale" was read as "weight_g": as answered before' in note for note in notes)
    assert any('the column "Remarks" was left out, as answered before' in note for note in notes)
    assert contents(folder) == before
    other = headed(good, tmp_path / "other.csv", *(text if text != "Plant" else "Number" for text in OWN))
    assert len(asked(merge_files(folder, [other]).files[0])) == len(OWN)
    renewed = merge_files(folder, [path], given({"headings": {"Remarks": "note"}}, "answers.toml"))
    assert renewed.files[0].tables["heads"].filled_in == 2
    (sheet,) = kept_documents(folder).headings.sheets
    assert sheet.columns["remarks"] == "note"


def test_what_was_accepted_is_remembered_too(folder: Path, good: Good, tmp_path: Path) -> None:
    """A column left out, and one that was almost right."""
    headings = [*good.csv().splitlines()[0].split(",")]
    headings[6], headings[8] = "wieght_g", "snails"
    path = headed(good, tmp_path / "own.csv", *headings)
    assert len(asked(merge_files(folder, [path]).files[0])) == 2
    assert merge_files(folder, [path], Given(Answers(accepted=("TK-R21", "TK-R22")))).ok
    assert merge_files(folder, [headed(good, tmp_path / "next.csv", *headings)]).ok
    (sheet,) = kept_documents(folder).headings.sheets
    assert sheet.columns == {"snails": "", "wieght_g": "weight_g"}


def test_an_answer_goes_before_what_a_heading_would_be(folder: Path, good: Good, tmp_path: Path) -> None:
    """Also before one that was remembered; two columns of one name are refused as ever."""
    headings = [*good.csv().splitlines()[0].split(",")]
    swapped = headed(good, tmp_path / "own.csv", *[*headings[:4], headings[5], headings[4], *headings[6:]])
    right = {"harvested_on": "last_not_ready_on", "last_not_ready_on": "harvested_on"}
    assert merge_files(folder, [swapped], given({"headings": right}, "answers.toml")).ok
    assert good.tables["heads"][0]["harvested_on"] in (folder / "heads.csv").read_text("utf-8").splitlines()[1]
    twice = merge_files(folder, [swapped], given({"headings": {"note": "outcome"}}, "answers.toml"))
    assert [finding.rule for finding in twice.files[0].findings if finding.verdict == "refused"] == ["TK-R20"]


def test_a_unit_in_an_answered_heading_is_converted(folder: Path, good: Good, tmp_path: Path) -> None:
    """Ounces stay ounces, whatever the rest of the heading was answered to be."""
    ounces = good.with_column("heads", "weight_g", lambda text: f"{float(text) / 28.349523125:.3f}")
    headings = [*good.csv().splitlines()[0].split(",")]
    headings[6] = "Scale (oz)"
    path = headed(ounces, tmp_path / "own.csv", *headings)
    outcome = merge_files(folder, [path], given({"headings": {"Scale (oz)": "weight_g"}}, "answers.toml"))
    assert outcome.ok, asked(outcome.files[0])
    weight = float((folder / "heads.csv").read_text("utf-8").splitlines()[1].split(",")[6])
    assert weight == pytest.approx(float(good.tables["heads"][0]["weight_g"]), abs=0.02)


def test_all_questions_of_a_file_come_at_once(folder: Path, good: Good, tmp_path: Path) -> None:
    """Also those about cells under a heading that is asked about, and of a label that is: one round, one answer."""
    bucket = good.tables["heads"][0]["bucket"]
    spoilt = good.with_column("heads", "last_not_ready_on", lambda _: "").with_cell("heads", 0, "outcome", "harvestde")
    spoilt = spoilt.with_column("heads", "harvested_on", lambda _: "10/11/2026")
    spoilt = spoilt.with_column("heads", "bucket", lambda text: f"{text[:3]}Z" if text == bucket else text)
    spoilt = spoilt.with_cell("heads", 4, "weight_g", "1,152")
    headings = [*good.csv().splitlines()[0].split(",")]
    headings[4], headings[8] = "harvestd_on", "snails"
    path = tmp_path / "own.csv"
    path.write_text("\n".join([",".join(headings), *spoilt.csv().splitlines()[1:]]), "utf-8")
    first = merge_files(folder, [path]).files[0]
    assert {finding.verdict for finding in first.findings} == {"question"}, asked(first)
    rules = {finding.rule for finding in first.findings}
    assert rules == {"TK-R21", "TK-R22", "TK-R25", "TK-R34", "TK-R41", "TK-R49"}
    (tmp_path / "answers.toml").write_text(
        'dates = "month-first"\ndecimals = "point"\naccept = ["TK-R25", "TK-R49"]\n'
        '[headings]\nharvestd_on = "harvested_on"\nsnails = ""\n',
        "utf-8",
    )
    second = merge_files(folder, [path], read_answers(tmp_path / "answers.toml"))
    assert second.ok, asked(second.files[0])
    assert ",harvested,2026-10-11," in (folder / "heads.csv").read_text("utf-8")


def test_a_key_that_may_be_under_an_unknown_heading_is_not_missed_in_every_row(
    folder: Path, good: Good, tmp_path: Path
) -> None:
    """One question, not one refusal for each row."""
    headings = ["Tag", *good.csv().splitlines()[0].split(",")[1:]]
    (question,) = asked(merge_files(folder, [headed(good, tmp_path / "own.csv", *headings)]).files[0])
    assert '--heading "Tag=COLUMN"' in question


def test_cut_is_harvested(folder: Path, good: Good, tmp_path: Path) -> None:
    """As everybody says it."""
    cut = good.with_column("heads", "outcome", lambda text: "Cut" if text == "harvested" else text)
    (tmp_path / "heads.csv").write_text(cut.csv(), "utf-8")
    assert merge_files(folder, [tmp_path / "heads.csv"]).ok
    assert ",harvested," in (folder / "heads.csv").read_text("utf-8")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("dates = 5", 'dates is "5"; write one of day-first, month-first, year-first'),
        ('accept = "TK-R25"', "write a list of rules"),
        ("accept = [[1]]", "there is no such rule"),
        ('[headings]\n"Head wt" = "weigth_g"', "Did you mean weight_g?"),
        ('[headings]\n"a" = "note"\n"A " = "head"', "say once which one column"),
        ("[headings]\na = 5", 'no column "5"'),
        ('[choose]\nabc = "mine"', "=kept or =returned"),
        ('date = "month-first"', "date is no answer"),
        ("headings = 3", "headings is no answer in this form"),
        ("dates = month", "Write one answer a line"),
        ("\x00\xff", "Write one answer a line"),
    ],
)
def test_an_answers_file_that_is_wrong_says_what_would_be_right(tmp_path: Path, text: str, says: str) -> None:
    """Before anything is read or written."""
    path = tmp_path / "answers.toml"
    path.write_bytes(text.encode("latin-1"))
    with pytest.raises(WrongCall) as told:
        read_answers(path)
    assert says in str(told.value)
    assert str(path) in str(told.value)


def test_all_faults_of_an_answers_file_are_told_at_once() -> None:
    """One line each."""
    with pytest.raises(WrongCall) as told:
        given({"dates": "x", "weights": "stone", "choose": {"a": "b"}}, "answers.toml")
    assert len(str(told.value).splitlines()) == 3


def test_hostile_headings_are_shown_safely(folder: Path, good: Good, tmp_path: Path) -> None:
    """Nothing in them steers a terminal or breaks what is remembered."""
    hostile = ["=cmd()", "\x1b[31mred", "a" * 5000, "'; drop", '"x" y', "Tag=bucket", "${x}", "{text}", "../../x"]
    path = tmp_path / "own.csv"
    lines = good.csv().splitlines()
    path.write_text("\n".join([",".join(f'"{text.replace(chr(34), chr(34) * 2)}"' for text in hostile), *lines[1:]]))
    (outcome,) = merge_files(folder, [path]).files
    assert all(question.isprintable() and len(question) < 900 for question in asked(outcome))
    answers = given({"headings": dict(zip(hostile, OWN.values(), strict=True))}, "answers.toml")
    assert merge_files(folder, [path], answers).ok
    assert merge_files(folder, [path]).ok
    (folder / HEADINGS).write_text("{}[]", "utf-8")
    with pytest.raises(TrialError, match=r"TK-R59 returned/headings\.json"):
        merge_files(folder, [path])
