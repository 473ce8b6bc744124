"""Words and numbers of the page."""

from __future__ import annotations

import ast
import re
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit import report
from trialkit.domain.treatment import Treatment
from trialkit.pages.numerals import (
    chance_percent,
    difference_interval,
    fixed,
    interval,
    p_value,
    plain,
    signed,
    tie,
    told,
)
from trialkit.pages.safe_text import DIRECTION_MARKS, LONGEST_TEXT, safe_document, safe_text, shorten
from trialkit.words.measures import teaspoons
from trialkit.words.phrases import chance, chance_word, date_words
from trialkit.words.treatment_names import acid_words, level_label, treatment_words


@pytest.mark.parametrize(
    ("dose", "words"),
    [
        (6, "6 level teaspoons"),
        (6.0, "6 level teaspoons"),
        (1, "1 level teaspoon"),
        (0.5, "½ level teaspoon"),
        (2.5, "2½ level teaspoons"),
        (1.25, "1¼ level teaspoons"),
        (0, "no nutrient"),
        (1.3, "1.3 level teaspoons"),
    ],
)
def test_doses_are_said_in_level_teaspoons(dose: float, words: str) -> None:
    """A gardener reads a dose as a cook would say it."""
    assert teaspoons(dose) == words


def test_a_treatment_is_said_in_kitchen_measures() -> None:
    """Whatever was varied is named, and nothing else."""
    assert treatment_words(Treatment(dose_tsp=6.0)) == "6 level teaspoons of nutrient a bucket"
    assert treatment_words(Treatment(cultivar="Fenleaf")) == "Fenleaf"
    assert treatment_words(Treatment(cultivar="Fenleaf", dose_tsp=0)) == "Fenleaf with no nutrient"
    assert treatment_words(Treatment(cultivar="Fenleaf", acidifier="none")) == "Fenleaf with no acid"


def test_missing_numbers_are_dashes() -> None:
    """What is not known is shown as a dash in every style of number."""
    for words in (fixed, partial(told, quantity="g"), plain, partial(signed, quantity="g"), p_value, chance_percent):
        assert words(None) == "–"
        assert words(float("nan")) == "–"


def test_p_values_never_claim_certainty() -> None:
    """Very small and very large p are bounds, not zeros and ones."""
    assert [p_value(p) for p in (0.0, 0.0009, 0.001, 0.0496, 0.9999)] == [
        "< 0.001",
        "< 0.001",
        "0.001",
        "0.050",
        "> 0.999",
    ]


def test_chances_never_claim_certainty() -> None:
    """A chance of zero or one is said as less than or more than."""
    assert chance(0.0) == "less than 1 in 100"
    assert chance(1.0) == "more than 99 in 100"
    assert chance(0.75) == "75 in 100"


@pytest.mark.parametrize(
    ("probability", "word"),
    [(1.0, "almost certain"), (0.9, "very likely"), (0.7, "likely"), (0.5, "about as likely as not"), (0.2, "unlikely"),
     (0.05, "very unlikely"), (0.0, "very unlikely")],
)  # fmt: skip
def test_chances_have_words(probability: float, word: str) -> None:
    """The scale's words stand at its bounds (Mastrandrea et al. 2010, from memory)."""
    assert chance_word(probability) == word


def test_negative_numbers_carry_a_true_minus_and_zero_no_sign() -> None:
    """A difference that rounds to nothing has no sign."""
    assert signed(-3.04, "days") == "\u22123.0"
    assert signed(-0.01, "days") == "0.0"
    assert signed(0.01, "days") == "0.0"


def test_decimals_follow_from_what_a_number_is_of() -> None:
    """Grams whole, days to a tenth, whatever their size; one more for a statistician."""
    assert [told(w, "g") for w in (187.6, 99.96, 31.24, 0.06)] == ["188", "100", "31", "0"]
    assert interval(-4.2, 112.79, "g") == "\u22124 to 113"
    assert difference_interval(2.79, 12, "days") == "+2.8 to +12.0"
    assert told(31.24, "g", finer=True) == "31.2"


@pytest.mark.parametrize("path", sorted(Path(report.__file__).parent.rglob("*.py")), ids=lambda path: path.stem)
def test_nothing_in_the_report_rounds_by_itself(path: Path) -> None:
    """The one rule is that of `numerals`: no page asks for decimals, by a format, by `round` or by `fixed`."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.FormattedValue) and node.format_spec is not None:
            assert not re.search(r"\.[1-9]\d*[efg%]", ast.unparse(node.format_spec)), node.lineno
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id != "fixed", node.lineno
            assert node.func.id != "round" or len(node.args) == 1, node.lineno


def test_dates_are_written_out_and_nonsense_is_left_alone() -> None:
    """A date that isn't one is shown as it came."""
    assert date_words("2026-08-20") == "20 August 2026"
    assert date_words("2026-13-20") == "2026-13-20"
    assert date_words("²026-01-02") == "²026-01-02"
    assert date_words(None) is None


def test_levels_have_short_labels() -> None:
    """Rows and axes need few letters."""
    assert level_label("dose_tsp", 2.5) == "2½ tsp"
    assert acid_words(None) == "no acid"


def test_numbers_keep_their_units_on_the_line() -> None:
    """A unit that begins a line is read as a word; other words stay free."""
    assert tie("5 % of 20 L, 10 gardens") == "5\u00a0% of 20\u00a0L, 10 gardens"


def test_names_lose_direction_overrides_and_control_characters() -> None:
    """A name cannot be made to read backwards, break the file or grow without bound."""
    assert safe_text("a\u202eb\x00c\ud800") == "abc".replace("c", "\ufffdc\ufffd")
    assert len(safe_text("x" * 10_000)) == LONGEST_TEXT
    spoilt = ({"k\u202e": (Treatment("\x07", 1.5), None, True)},)
    assert safe_document(spoilt) == ({"k": (Treatment("\ufffd", 1.5), None, True)},)
    assert safe_document({"k\u202e": [{"a": "\x07"}, None, 1.5, True]}) == {"k": [{"a": "\ufffd"}, None, 1.5, True]}


@given(st.text(alphabet=st.characters()))
def test_any_text_can_be_written_as_utf8(text: str) -> None:
    """Whatever was typed, the page can be saved, and letters of every script stay."""
    shown = safe_text(text)
    shown.encode()
    assert not DIRECTION_MARKS & set(shown)


@given(st.text(max_size=80), st.integers(2, 40))
def test_labels_are_cut_to_size(text: str, columns: int) -> None:
    """A label never takes more room than it was given."""
    assert (
        len(shorten(text, columns)) <= max(columns, len(text) if len(text) <= columns else columns)
        or max(text) >= "\u0300"
    )
