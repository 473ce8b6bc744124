"""What comes back in another language by other ways than our forms: noted, asked about, never guessed."""

from pathlib import Path

import pytest

from returned_files import Good, good_return
from trialkit.documents.returns import Answers, ReturnFinding
from trialkit.languages import speaking
from trialkit.returns.answering import Given
from trialkit.returns.merge_files import merge_files
from trialkit.tables.table_schema import load_schema
from trialkit.words.message_words import by_name

with speaking("es"):
    HEADINGS = {field.name: field.heading for field in load_schema("heads").on_forms}
    HARVESTED = load_schema("heads").field("outcome").said("harvested")


def spanish(good: Good, **headings: str) -> str:
    """Write the heads under Spanish headings, some of them otherwise."""
    header, rows = good.csv().split("\n", 1)
    named = {**HEADINGS, **headings}
    return ",".join(named[name] for name in header.split(",")) + "\n" + rows


def found_in(text: str, folder: Path, *accepted: str) -> tuple[bool, list[ReturnFinding]]:
    """Merge a file; return whether it was, and what was found of its headings and words."""
    path = folder / "back.csv"
    path.write_text(text, encoding="utf-8")
    trial = good_return().write_trial(folder / "trial")
    (file,) = merge_files(trial, [path], Given(Answers(accepted=accepted))).files
    return file.merged, list(file.findings)


@pytest.mark.parametrize(
    ("column", "text", "became"),
    [
        ("outcome", HARVESTED.capitalize(), "harvested"),
        ("outcome", f"{HARVESTED.upper()}.", "harvested"),
        ("marketable", "SÍ", "yes"),
        ("marketable", "Si", "yes"),
        ("marketable", "VERDADERO", "yes"),
        ("marketable", "falso", "no"),
    ],
)
def test_words_that_no_form_of_ours_wrote_are_noted(tmp_path: Path, column: str, text: str, became: str) -> None:
    """As those of English are."""
    merged, found = found_in(spanish(good_return().with_cell("heads", 0, column, text)), tmp_path)
    assert merged
    (note,) = [finding for finding in found if finding.rule == "TK-R50"]
    assert by_name(note.facts)["became"] == became


@pytest.mark.parametrize(
    ("text", "became"), [("152 gramos", "152"), ("1 gramo", "1"), ("5 onzas", "141.75"), ("0.2 kilogramos", "200")]
)
def test_units_after_a_number_are_noted(tmp_path: Path, text: str, became: str) -> None:
    """And converted, as those of English are."""
    merged, found = found_in(spanish(good_return().with_cell("heads", 0, "weight_g", text)), tmp_path, "TK-R36")
    assert merged
    (note,) = [finding for finding in found if finding.rule == "TK-R35"]
    assert by_name(note.facts)["became"] == became


def test_a_misspelt_word_is_asked_about(tmp_path: Path) -> None:
    """Near in another language is as near as in English."""
    merged, found = found_in(
        spanish(good_return().with_cell("heads", 0, "outcome", HARVESTED[:-2] + HARVESTED[-1])), tmp_path
    )
    assert not merged
    (question,) = [finding for finding in found if finding.verdict == "question"]
    assert (question.rule, by_name(question.facts)["became"]) == ("TK-R49", "harvested")


def test_a_misspelt_heading_is_asked_about(tmp_path: Path) -> None:
    """And read so, once that was answered."""
    text = spanish(good_return(), transplanted_on=HEADINGS["transplanted_on"][:4] + HEADINGS["transplanted_on"][5:])
    merged, found = found_in(text, tmp_path)
    assert not merged
    (question,) = [finding for finding in found if finding.verdict == "question"]
    assert (question.rule, by_name(question.facts)["became"]) == ("TK-R21", "transplanted_on")
    (tmp_path / "answered").mkdir()
    assert found_in(text, tmp_path / "answered", "TK-R21")[0]


def test_headings_of_two_languages_at_once(tmp_path: Path) -> None:
    """Each is read in its own; two for one column are refused."""
    mixed = spanish(good_return(), bucket="Bucket", head="head", note=HEADINGS["note"].upper())
    merged, found = found_in(mixed, tmp_path)
    assert merged
    assert [finding.column for finding in found if finding.rule == "TK-R19"] == ["note"]
    (tmp_path / "twice").mkdir()
    merged, found = found_in(spanish(good_return(), note="Weight_g"), tmp_path / "twice")
    assert not merged
    assert "TK-R20" in {finding.rule for finding in found if finding.verdict == "refused"}


def test_a_day_without_a_year_is_refused_by_that_name(tmp_path: Path) -> None:
    """Not as something that is no day."""
    text = spanish(good_return().with_cell("heads", 0, "harvested_on", "29 de septiembre"))
    merged, found = found_in(text, tmp_path)
    assert not merged
    assert [(finding.rule, finding.case) for finding in found if finding.verdict == "refused"] == [
        ("TK-R37", "no year")
    ]
