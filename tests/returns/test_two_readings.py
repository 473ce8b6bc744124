"""A name that two gardens have is nobody's; capitals, accents and normal forms are no difference."""

from pathlib import Path

import pytest

from returned_files import SITES, good_return
from trialkit.protocol.randomise import records_exist
from trialkit.protocol.trial_protocol import parse_protocol
from trialkit.returns.merge_files import merge_files
from trialkit.rules.trial_folder import check_trial
from trialkit.tables.problem import TrialError
from trialkit.words.problem_words import problem_sentence
from trialkit.words.repair_words import finding_sentence


def merged_visits(tmp_path: Path, sites: str, name: str) -> tuple[bool, list[str]]:
    """Merge visits whose garden is told by a name; return whether they were merged, and what was found."""
    good = good_return()
    folder = good.write_trial(tmp_path / "trial")
    (folder / "sites.csv").write_text(sites, encoding="utf-8")
    path = tmp_path / "visits.csv"
    path.write_text(good.with_column("visits", "site", lambda _: name).csv("visits"), encoding="utf-8")
    (file,) = merge_files(folder, [path]).files
    return file.merged, [finding_sentence(finding) for finding in file.findings]


@pytest.mark.parametrize(
    ("names", "name"),
    [
        (("Old School", "Old School"), "Old School"),
        (("École du Moulin", "Ecole du moulin"), "École du Moulin"),
        (("mill", "Old Mill Library"), "Mill"),
        (("Old School", "old  school"), "Old Schol"),
    ],
)
def test_a_name_of_two_gardens_is_asked_about(tmp_path: Path, names: tuple[str, str], name: str) -> None:
    """It was given to the one that came last."""
    sites = SITES.replace("Fernsedge School", names[0]).replace("Old Mill Library", names[1])
    merged, found = merged_visits(tmp_path, sites, name)
    assert not merged
    assert "Ask which garden it is, and write its short name: FERN or MILL." in found[0]
    problems = [problem_sentence(p) for p in check_trial(tmp_path / "trial", stage="plan").problems]
    assert any("TK-K04" in text and "has the same name" in text for text in problems)


@pytest.mark.parametrize("name", ["fern", "ＦＥＲＮ", "E\u0301cole", "ecole", " École\u200b"])
def test_a_name_that_only_one_garden_has_is_that_gardens(tmp_path: Path, name: str) -> None:
    """With a note, whatever became of capitals, accents and width."""
    merged, found = merged_visits(tmp_path, SITES.replace("Fernsedge School", "École"), name)
    assert merged
    assert any('was read as "FERN"' in text or "École" in text for text in found)


def test_levels_that_differ_in_capitals_or_accents_alone_are_one(tmp_path: Path) -> None:
    """Nobody can tell them apart on a label."""
    text = good_return().write_trial(tmp_path / "trial").joinpath("trial.toml").read_text(encoding="utf-8")
    with pytest.raises(TrialError) as error:
        parse_protocol(text.replace('"NA"', '"larkmoor  bütter"'))
    assert "differ in more than capitals" in problem_sentence(error.value.problems[0])


@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_records_are_seen_however_their_lines_end(tmp_path: Path, line_end: str) -> None:
    """A table whose lines end with a carriage return alone was taken for an empty one, and the layout drawn anew."""
    rows = good_return().csv(line_end=line_end)
    (tmp_path / "heads.csv").write_bytes(rows.split(line_end)[0].encode() + line_end.encode())
    assert not records_exist(tmp_path)
    (tmp_path / "heads.csv").write_bytes(rows.encode())
    assert records_exist(tmp_path)
