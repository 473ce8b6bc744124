"""One bad value hides no other problem, and a rule that fails is a problem beside the others."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Iterator, Mapping
from datetime import date
from pathlib import Path

import pytest

import commands
from good_trial import good_files
from trialkit.documents.problems import Problem
from trialkit.domain.table_names import TABLE_NAMES, TableName
from trialkit.rules.followed import followed
from trialkit.rules.trial_folder import CheckResult, check_trial
from trialkit.tables.problem import problem
from trialkit.tables.table_schema import Field, load_schema
from trialkit.words.problem_words import told_problem

Tables = dict[TableName, list[dict[str, str]]]
BAD = [
    "", "some words", "0", "-1", "1e308", "nan", "inf", "2027-02-30", "TRUE", "x" * 5000, "=1+1", "<b>1</b>", "🥬",
    "1\x07", "Harvested", "acetIc", "2026-08-24T00:00", "1,5",
]  # fmt: skip
"""Texts that some columns do not take; others may."""
ROUNDS = 15
"""So many checks give every column one of them or more, a cell in each table at a time."""
SECOND: Mapping[TableName, tuple[int, dict[str, str], str]] = {
    "sites": (1, {"sun_hours": "99"}, "TK-V10"),
    "products": (1, {"price_per_kg": "dear"}, "TK-V02"),
    "layout": (3, {"bench_row": "front"}, "TK-V02"),
    "solution": (5, {"ph_after": "9"}, "TK-S03"),
    "visits": (2, {"visited_on": "2029-08-26"}, "TK-K03"),
    "heads": (5, {"harvested_on": "2026-08-20", "last_not_ready_on": ""}, "TK-H06"),
    "weather": (2, {"t_min_c": "30"}, "TK-T01"),
    "amendments": (1, {"layout_version": "7"}, "TK-L11"),
}
"""A problem of each table that is always there: row by position, cells, the rule that tells of it."""


def tables_with_problems() -> Tables:
    """Every table, with the problem of its own."""
    files = good_files()
    tables: Tables = {
        name: list(csv.DictReader(io.StringIO(files[f"{name}.csv"]))) for name in TABLE_NAMES if f"{name}.csv" in files
    }
    tables["visits"].append({"site": "old-mill", "visited_on": "2026-09-26"})
    tables["weather"] = [
        {"site": "old-mill", "measured_on": f"2026-08-2{day}", "t_min_c": "10", "t_max_c": "20"} for day in range(4, 8)
    ]
    withdrew = {"amended_on": "2026-09-20", "change": "withdrew", "why": "moved away"}
    gardens = enumerate(("old-mill", "fernsedge"), 2)
    tables["amendments"] = [{"layout_version": str(version), "site": site, **withdrew} for version, site in gardens]
    for name, (row, cells, _) in SECOND.items():
        tables[name][row] |= cells
    return tables


def write(folder: Path, tables: Tables) -> None:
    """Write tables with all their columns."""
    for name, rows in tables.items():
        text = io.StringIO()
        writer = csv.DictWriter(text, load_schema(name).columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
        (folder / f"{name}.csv").write_text(text.getvalue(), "utf-8")


def is_bad(field: Field, text: str) -> bool:
    """Tell by the schema alone whether a column does not take a text."""
    if not text:
        return field.required
    if field.type in ("number", "integer"):
        try:
            value = float(text)
        except ValueError:
            return True
        least, most = float(field.minimum or -math.inf), float(field.maximum or math.inf)
        return not least <= value <= most or (field.type == "integer" and value % 1 != 0)
    if field.type == "date":
        try:
            return not str(field.minimum) <= date.fromisoformat(text).isoformat() <= str(field.maximum)
        except ValueError:
            return True
    if field.type == "boolean":
        return text not in (*field.true_values, *field.false_values)
    wrong_word = field.enum is not None and text not in field.enum
    wrong_form = field.pattern is not None and not re.fullmatch(field.pattern, text)
    return wrong_word or wrong_form or len(text) > (field.max_length or math.inf) or "\x07" in text


def at(result: CheckResult, name: TableName, position: int, column: str | None = None) -> list[Problem]:
    """Find what is told of a row, or of a cell."""
    return [
        one
        for one in result.problems
        if (one.file, one.row) == (f"{name}.csv", position + 2) and column in (None, one.column)
    ]


def assert_all_told(result: CheckResult, damaged: Mapping[TableName, tuple[int, Field, str]]) -> None:
    """Every damaged cell that cannot stand is an error with what to do, and what was there before is told too."""
    for name, (row, _, rule) in SECOND.items():
        assert rule in {one.rule for one in at(result, name, row)}, (name, damaged)
    for name, (row, field, text) in damaged.items():
        found = [told_problem(one) for one in at(result, name, row, field.name) if one.severity == "error"]
        assert bool(found) or not is_bad(field, text), (name, field.name, text)
        for told in found:
            assert told.expected
            assert told.how_to_fix
            assert told.found or not text
    assert "TK-F13" not in {one.rule for one in result.problems}


def damage(number: int) -> dict[TableName, tuple[int, Field, str]]:
    """One cell in the first row of each table, and a bad text: each round others."""
    return {
        name: (0, fields[number % len(fields)], BAD[(number + number // len(fields) + 5 * place) % len(BAD)])
        for place, name in enumerate(TABLE_NAMES)
        if (fields := load_schema(name).fields)
    }


@pytest.mark.parametrize("number", range(ROUNDS))
def test_no_bad_value_hides_another(good_folder: Path, number: int) -> None:
    """A bad text in each of the tables at once, beside the problem that each has already."""
    tables, damaged = tables_with_problems(), damage(number)
    for name, (row, field, text) in damaged.items():
        tables[name][row][field.name] = text
    write(good_folder, tables)
    assert_all_told(check_trial(good_folder), damaged)


ALONE: list[tuple[TableName, str, str]] = [
    ("solution", "volume_l", "0"),
    ("solution", "volume_l", "-1"),
    ("solution", "nutrient_tsp", "1e308"),
    ("solution", "acid_tsp", "-1"),
    ("sites", "alkalinity_mg_l_caco3", "-1"),
    ("products", "acid", "acetIc"),
    ("products", "grams_per_tsp", "1e308"),
    ("heads", "weight_g", "-1"),
]


@pytest.mark.parametrize(("name", "column", "text"), ALONE)
def test_a_value_that_chemistry_refuses_hides_nothing(
    good_folder: Path, name: TableName, column: str, text: str
) -> None:
    """Each by itself: no rule reckons with it."""
    tables, row = tables_with_problems(), int(column == "acid")
    tables[name][row][column] = text
    write(good_folder, tables)
    assert_all_told(check_trial(good_folder), {name: (row, load_schema(name).field(column), text)})


def test_many_bad_values_at_once_leave_an_answer(good_folder: Path) -> None:
    """All texts in one column of each table: status 1, each cell told; the analysis refuses in words."""
    tables = tables_with_problems()
    columns: Mapping[TableName, str] = {"heads": "weight_g", "solution": "volume_l", "layout": "dose_tsp"}
    for name, column in columns.items():
        for row, text in zip(tables[name], BAD, strict=False):
            row[column] = text
    write(good_folder, tables)
    ended = commands.run("check", good_folder, "--json")
    assert ended.returncode == commands.DATA_ERROR
    told = {(one["file"], one["row"], one["column"]) for one in json.loads(ended.stdout)["answer"]["problems"]}
    for name, column in columns.items():
        field = load_schema(name).field(column)
        for row, text in enumerate(BAD[: len(tables[name])], 2):
            assert (f"{name}.csv", row, column) in told or not is_bad(field, text)
    refused = commands.run("analyse", good_folder)
    assert refused.returncode == commands.DATA_ERROR
    assert "to fix first" in refused.stderr


def test_a_rule_that_fails_is_a_problem_beside_the_others(good_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What other rules find is told, and what the rule itself had found; the trial does not pass."""
    monkeypatch.setattr("trialkit.rules.solution_rules.departures_in", lambda _: 1 / 0)
    write(good_folder, tables := tables_with_problems())
    assert "TK-F13" not in {one.rule for one in check_trial(good_folder).problems}
    tables["solution"][1]["volume_l"] = "90"
    write(good_folder, tables)
    result = check_trial(good_folder)
    (failed,) = (one for one in result.errors if one.rule == "TK-F13")
    told = told_problem(failed)
    assert "volumes are near the fill line" in told.expected
    assert "ZeroDivisionError" in told.found
    assert {rule for _, _, rule in SECOND.values()} <= {one.rule for one in result.problems}

    def half_way() -> Iterator[Problem]:
        yield problem("TK-S03", "solution.csv")
        raise RuntimeError

    assert [one.rule for one in followed(half_way)] == ["TK-S03", "TK-F13"]
