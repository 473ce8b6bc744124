"""What changing valid files at random found (tests/benchmarks/fuzz.py), replayed; and that the search can find."""

from pathlib import Path
from random import Random

import pytest

import fuzzing
from fuzzing import Case, cases, complaint, kept
from returned_files import good_return
from trialkit.returns import merge_state

FOUND = dict(kept(Path(__file__).parent / "found"))


@pytest.mark.parametrize("name", FOUND)
def test_what_was_found_was_put_right(name: str) -> None:
    """No traceback, no warning of a library, no value that changed in silence."""
    assert complaint(FOUND[name]) == ""


@pytest.mark.parametrize("kind", fuzzing.KINDS)
def test_each_kind_of_change_is_tried(kind: str) -> None:
    """The first few of the nightly search."""
    for number in range(3):
        case = fuzzing.KINDS[kind](Random(f"{kind} {number}"))
        assert complaint(case) == "", case


@pytest.mark.parametrize("becomes", ["149.5", ""])
def test_a_value_that_changes_in_silence_is_found(becomes: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else the search would prove nothing."""
    written = merge_state.table_text
    monkeypatch.setattr(merge_state, "table_text", lambda *what: written(*what).replace(",149.4,", f",{becomes},"))
    for name, data in (("a.csv", good_return().csv().encode()), ("a.xlsx", good_return().workbook())):
        assert "weight_g: '149.4' became" in complaint(Case("merge", name, data))


def test_changes_are_the_same_for_the_same_seed() -> None:
    """So that what was found can be found again."""
    assert cases(Random("1 2")) == cases(Random("1 2"))
