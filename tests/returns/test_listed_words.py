"""Words that volunteers write for what became of a head: read where one thing alone can be meant, else never guessed.

Expected values are those of the description of the column: what is rotted is dead, what slugs took is eaten.
"""

import re
from collections.abc import Sequence
from pathlib import Path

import pandas as pd
import pytest

from returned_files import Good, good_return
from trialkit.documents.returns import FileOutcome
from trialkit.languages import in_every_language, speaking
from trialkit.returns.listed_values import IN_WORDS
from trialkit.returns.merge_files import merge_files
from trialkit.tables.form_words import values_by_word
from trialkit.tables.table_schema import load_schema
from trialkit.words.repair_words import finding_sentence

OUTCOME = load_schema("heads").field("outcome")


def merged_outcomes(folder: Path, words: Sequence[str]) -> tuple[FileOutcome, list[str]]:
    """Merge a CSV whose first heads have these outcomes and nothing else; return what became of them."""
    good = good_return()

    def told(place: int, row: dict[str, str]) -> dict[str, str]:
        key = {name: row[name] for name in ("bucket", "head")}
        return {**key, "outcome": words[place]} if place < len(words) else row

    changed: Good = good.changed("heads", told)
    trial = good.write_trial(folder / "trial")
    path = folder / "back.csv"
    path.write_text(changed.csv(), encoding="utf-8")
    (file,) = merge_files(trial, [path]).files
    if not file.merged:
        return file, []
    heads = pd.read_csv(trial / "heads.csv", dtype=str).set_index(["bucket", "head"])["outcome"]
    return file, [heads[row["bucket"], row["head"]] for row in good.tables["heads"][: len(words)]]


@pytest.mark.parametrize(
    ("words", "value"),
    [
        (("eaten by slugs", "Slugs!", "eaten", "comida por babosas", "Comida por animales"), "eaten"),
        (("died", "Dead.", "it died", "rotted", "murió", "Se murio", "muerto", "se pudrió"), "dead"),
        (("went to seed", "BOLTED", "se espigó", "espigado"), "bolted"),
        (("cut", "picked", "cosechado", "cortada"), "harvested"),
        (("not planted", "no se plantó"), "never_planted"),
        (("still growing", "todavía no está lista"), "not_ready"),
        (("cut but not weighed", "Not weighed", "no se pesó"), "not_weighed"),
        (("it was stolen", "la robaron"), "stolen"),
        (("given up", "abandonada"), "gave_up"),
    ],
)
def test_what_volunteers_write_is_read(tmp_path: Path, words: tuple[str, ...], value: str) -> None:
    """In English and Spanish, whatever capitals, accents and full stops."""
    file, outcomes = merged_outcomes(tmp_path, words)
    assert file.merged, [finding_sentence(finding) for finding in file.findings]
    assert outcomes == [value] * len(words)


def test_each_word_that_is_known_means_one_thing(tmp_path: Path) -> None:
    """None stands for two values, nor for another one on forms; every one is read in a CSV."""
    meant = [
        (word.strip(), value)
        for value, words in IN_WORDS.items()
        for told in sorted(in_every_language(words))
        for word in re.split("[;.]", told)
    ]
    assert len(dict(meant)) == len(meant)
    on_forms = values_by_word(OUTCOME)
    assert all(on_forms.get(word, value) == value for word, value in meant)
    at_once = len(good_return().tables["heads"])
    for start in range(0, len(meant), at_once):
        some = meant[start : start + at_once]
        (tmp_path / str(start)).mkdir()
        file, outcomes = merged_outcomes(tmp_path / str(start), [word for word, _ in some])
        assert file.merged, [finding_sentence(finding) for finding in file.findings]
        assert outcomes == [value for _, value in some]


@pytest.mark.parametrize("word", ["gone", "lost", "wilted", "too small", "damaged", "se la comieron", "seca", "!"])
def test_what_may_mean_two_things_is_not_guessed(tmp_path: Path, word: str) -> None:
    """What is gone may be eaten or stolen; what wilts may recover; people eat lettuce, too."""
    file, _ = merged_outcomes(tmp_path, [word])
    assert not file.merged
    assert [one.row for one in file.findings if one.verdict != "repaired"] == [2]
    assert "TK-R50" not in {one.rule for one in file.findings}


def test_the_values_are_listed_as_forms_print_them(tmp_path: Path) -> None:
    """In the language of whoever reads it: not the words of the table."""
    file, _ = merged_outcomes(tmp_path, ["gone"])
    (refused,) = [one for one in file.findings if one.verdict == "refused"]
    for language in ("en", "es"):
        with speaking(language):
            said = finding_sentence(refused)
            assert ", ".join(map(OUTCOME.said, OUTCOME.enum or ())) in said
        assert "_" not in said
    assert "cosechada, sin pesar, no lista, muerta" in said


def test_a_proposed_value_is_said_as_forms_print_it(tmp_path: Path) -> None:
    """So that it can be found on them."""
    file, _ = merged_outcomes(tmp_path, ["not wieghed"])
    (asked,) = [one for one in file.findings if one.verdict == "question"]
    assert "it may be not weighed." in finding_sentence(asked)
    with speaking("es"):
        assert "sin pesar" in finding_sentence(asked)
