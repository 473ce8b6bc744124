"""Cells: what is written is what is read, and what is doubtful is never guessed at."""

import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.tables.cell_values import parse_date, parse_integer, parse_number, parse_text
from trialkit.tables.formula_text import defused, restored


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_come_back_exactly(value: float) -> None:
    """Any number written in plain figures is read back to the last bit."""
    parsed = parse_number(repr(value))
    assert parsed.fault is None
    assert parsed.value == value


@given(st.integers(-(2**53), 2**53))
def test_whole_numbers_come_back_exactly(value: int) -> None:
    """Any whole number that a double holds is read back."""
    assert parse_integer(str(value)).value == value


@given(st.dates())
def test_dates_come_back_exactly(value: date) -> None:
    """Any date written year-month-day is read back."""
    assert parse_date(value.isoformat()).value == value


@given(st.text())
def test_no_text_is_read_as_a_number_unless_it_is_one(text: str) -> None:
    """Whatever is typed, the result is a finite number or a fault; never both missing."""
    parsed = parse_number(text)
    assert (parsed.value is None) == (parsed.fault is not None and parsed.fault.rule != "TK-V15")
    assert parsed.value is None or math.isfinite(parsed.value)  # type: ignore[arg-type]
    assert parse_date(text).value is None or parse_date(text).fault is None


# Common practice, no source: the entries seen in returned spreadsheets.
@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("5.4oz", "TK-V03"), ("152 grams", "TK-V03"), ("152,4 g", "TK-V03"), ("95 %", "TK-V03"), ("21°C", "TK-V03"),
        ("~150", "TK-V02"), (">200", "TK-V02"), ("150-160", "TK-V02"), ("??", "TK-V02"), ("NA", "TK-V02"),
        ("1 152", "TK-V02"), ("1,152,000", "TK-V04"), ("-inf", "TK-V14"), ("0x1F", "TK-V03"), ("#REF!", "TK-V02"),
    ],
)  # fmt: skip
def test_doubtful_numbers_are_refused(text: str, rule: str) -> None:
    """What may be a number in another sense is refused with the reason that fits."""
    parsed = parse_number(text)
    assert parsed.value is None
    assert parsed.fault.rule == rule


def test_other_figures_are_read_with_a_warning() -> None:
    """The Unicode minus and figures of full width are read, and said."""
    assert parse_number("−3").value == -3
    assert parse_integer("１２").value == 12
    assert parse_number("−3").fault.rule == "TK-V15"  # type: ignore[union-attr]


def test_accents_are_compared_as_seen() -> None:
    """A letter and its accent in two characters equal the same letter in one."""
    assert parse_text("Mossridge\u0301").value == parse_text("Mossridg\u00e9").value


@given(st.text(alphabet=st.sampled_from("=+-@'\t\r\n x1＝"), max_size=8))
def test_defused_formulas_come_back_and_cannot_run(text: str) -> None:
    """A text made harmless begins no line with a formula, and is restored exactly."""
    safe = defused(text)
    assert restored(safe) == text
    assert not safe.lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r"))
    assert not any(line.strip().startswith(("=", "+", "@", "-", "＝")) for line in safe.splitlines())
