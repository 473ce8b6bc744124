"""Tables, protocols and documents are held to their budgets; each case is small, and its limit is lowered or low."""

from dataclasses import replace

import pytest

from good_trial import GOOD_PROTOCOL
from trialkit.documents.document import DamagedDocument, from_text
from trialkit.documents.problems import Fact, Problem
from trialkit.documents.returns import Corrections
from trialkit.domain.reading_budget import PLAN_TABLE, PROTOCOL, Measure, OverBudget
from trialkit.protocol.trial_protocol import parse_protocol
from trialkit.tables.problem import TrialError
from trialkit.tables.raw_table import parse_csv
from trialkit.tables.table_schema import load_schema
from trialkit.tables.toml_text import toml_data
from trialkit.tables.typed_tables import read_table


@pytest.mark.parametrize(
    ("text", "measure"),
    [
        ("a,b\n" + "\n" * 20, "rows"),
        ("a,b,c,d,e\n1,2,3,4,5\n", "cells"),
        ("a,b\n1,xxxxx\n", "cell_characters"),
        ("a,b\n1," + "2" * 50 + "\n", "line_characters"),
        ("a,b,c,d\n", "columns"),
    ],
)
def test_a_table_that_passes_a_limit_is_refused_by_its_name(text: str, measure: Measure) -> None:
    """The problem is that of the file, and tells which limit."""
    budget = replace(PLAN_TABLE, rows=10, cells=8, cell_characters=4, line_characters=40, columns=3)
    found = parse_csv("layout.csv", text, budget)
    assert isinstance(found, Problem)
    assert found.rule == "TK-F03"
    assert Fact("measure", measure) in found.facts


def test_of_many_faults_the_first_are_told_and_that_there_are_more() -> None:
    """Nobody reads twenty thousand; a table so wrong is another file."""
    reading = read_table(load_schema("layout"), "bucket,site,block,position\n" + "B1,FERN,x,y\n" * 7_000)
    assert len(reading.problems) == PLAN_TABLE.findings + 1
    assert reading.problems[-1].rule == "TK-F03"
    assert not len(reading.frame)


@pytest.mark.parametrize(
    ("more", "measure"),
    [
        ("\n[more]\n" + "".join(f"k{i}=1\n" for i in range(600)), "items"),
        ("\nx = [" + "1," * 600 + "]\n", "items"),
        ("\nx = " + "[" * 12 + "]" * 12 + "\n", "depth"),
        ("\nx = " + "[" * 20_000 + "\n", "depth"),
        ("\n" + "a." * 30_000 + "b = 1\n", "depth"),
        ("\n#" + "x" * 64_000, "file_bytes"),
    ],
)
def test_a_protocol_that_passes_a_limit_is_refused_by_its_name(more: str, measure: Measure) -> None:
    """In place of minutes of looking for what each key may have meant."""
    with pytest.raises(TrialError) as error:
        parse_protocol(GOOD_PROTOCOL + more)
    (problem,) = error.value.problems
    assert problem.rule == "TK-F03"
    assert Fact("measure", measure) in problem.facts


def test_a_protocol_may_end_its_lines_as_any_program_does() -> None:
    """A carriage return alone is no line end in TOML, and can be nothing else."""
    assert parse_protocol(GOOD_PROTOCOL.replace("\n", "\r")) == parse_protocol(GOOD_PROTOCOL)
    with pytest.raises(OverBudget):
        toml_data("x" * (PROTOCOL.file_bytes + 1))


def test_a_document_of_faults_is_read_to_the_first() -> None:
    """All of them would fill the memory."""
    with pytest.raises(DamagedDocument, match=r"corrections\.0\."):
        from_text(Corrections, '{"corrections": [' + "{}," * 200_000 + "{}]}")
    with pytest.raises(DamagedDocument, match="more than 1,000,000 keys and values"):
        from_text(Corrections, '{"corrections": [' + "{}," * 500_000 + "{}]}")
