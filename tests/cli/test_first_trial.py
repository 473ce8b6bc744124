"""The first trial of the documentation, done step by step."""

from __future__ import annotations

from pathlib import Path

import pytest

from walkthrough import is_like, outputs

PAGE = Path(__file__).parents[2] / "reports" / "first_trial.md"


def test_every_step_prints_what_the_page_shows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each command succeeds, and its output is the one on the page."""
    monkeypatch.chdir(tmp_path)
    shown = 0
    for block, printed in outputs(PAGE.read_text("utf-8")):
        if block["output"] is not None:
            shown += 1
            assert is_like(printed, block["output"]), (block["commands"], printed)
    assert shown > 8


def test_a_page_that_shows_something_else_is_found_out() -> None:
    """A changed line, one too many or one too few; dots stand for any number of whole lines."""
    assert is_like("a\nb\nc\n", "a\n...\nc\n")
    assert is_like("a\nc\n", "a\n...\nc\n")
    assert not is_like("a\nb\nc\n", "a\nc\n")
    assert not is_like("a\nb\n", "a\n...\nc\n")
    assert not is_like("a.\n", "ab\n")
