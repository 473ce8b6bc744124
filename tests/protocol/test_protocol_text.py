"""A protocol that is written reads back as the same, whatever stands in it."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.protocol.protocol_text import protocol_text
from trialkit.protocol.starting import example_folder, example_names
from trialkit.protocol.trial_protocol import Protocol, parse_protocol, read_protocol

WHOLE = """\
[trial]
id = "whole"
question = "Which?"
blind = true
started_on = 2027-03-01
[factors.cultivar]
levels = ["Fenleaf", "Larkmoor Butter"]
[factors.dose]
levels = [2, 4.25]
product = "Blend"
[layout]
kind = "split-plot"
whole_plot = "dose"
blocks = 4
[schedule]
sow_on = 2027-02-15
[variation]
bucket_sd_g = 9.125
[limits]
sites = 9
budget = 1234.5
[responses]
days = false
[decision]
current_practice = { cultivar = "Fenleaf", dose = 2 }
price_per_kg = 8.123456789
heads_a_year = 1e6
"""
one_line = st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"]), min_size=1, max_size=30)
amounts = st.floats(min_value=0, max_value=2000, allow_nan=False)


@pytest.mark.parametrize("name", example_names())
def test_examples_read_back(name: str) -> None:
    """Every bundled protocol, whatever its layout."""
    protocol = read_protocol(example_folder(name))
    assert parse_protocol(protocol_text(protocol, {})) == protocol


def test_every_kind_of_value_reads_back() -> None:
    """Dates, switches, fractions and lists; a remark stands behind its section."""
    protocol = parse_protocol(WHOLE)
    text = protocol_text(protocol, {"layout": "as last year", "factors.dose": "spoons"})
    assert parse_protocol(text) == protocol
    assert "[layout]  # as last year" in text
    assert "[factors.dose]  # spoons" in text
    assert max(map(len, text.splitlines())) <= 120
    assert (protocol.schedule.sow_on, protocol.trial.blind) == (date(2027, 2, 15), True)


@given(role=one_line, question=st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=80), cost=amounts)
def test_texts_and_numbers_read_back(role: str, question: str, cost: float) -> None:
    """Quotation marks, backslashes and the last digit of a number."""
    told = {"question": f"?{question}?", "title": f"?{question}?", "contact_role": role.strip()}
    protocol = parse_protocol(WHOLE)
    changed = protocol.model_copy(
        update={
            "trial": protocol.trial.model_copy(update=told),
            "decision": protocol.decision.model_copy(update={"margin_g": cost}),
        }
    )
    found: Protocol = parse_protocol(protocol_text(changed, {}))
    assert found == changed
