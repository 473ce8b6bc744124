"""What a check says by itself, besides the words of its rules."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from trialkit.words.phrases import count, date_words

if TYPE_CHECKING:
    from trialkit.documents.problems import Problem
    from trialkit.rules.trial_folder import CheckResult, Stage

MOST_ALIKE = 5
"""Of many problems alike so many are told, and how many more there are."""


def check_sentence(result: CheckResult, stage: Stage) -> str:
    """Say how a check went."""
    if result.trial is None or result.errors:
        return f"Check: {count(len(result.errors), 'error')} and {count(len(result.warnings), 'warning')}."
    if stage != "records":
        what = "the layout is in order and nothing is recorded yet" if stage == "layout" else "the plan is in order"
        more = f", {count(len(result.warnings), 'warning')}" if result.warnings else ""
        return f"Check: {what}{more}."
    found = f"{len(result.trial.heads)} heads in {result.trial.heads['bucket'].nunique()} buckets"
    if result.warnings:
        return f"Check: {found}, no error, {count(len(result.warnings), 'warning')}."
    return f"Check: {found}, nothing wrong."


def greeting(questions: int, must: int) -> str:
    """Say to the adviser how many things there are to look at, and for how many the answer of the trial waits.

    Examples
    --------
    >>> greeting(3, 1)
    '3 things need a second look. The answer of the trial waits for 1 of them.'
    """
    if not questions:
        return "Everything that was written down is in order. There is nothing to do."
    asked = f"{count(questions, 'thing')} {'needs' if questions == 1 else 'need'} a second look"
    if not must:
        return f"{asked}; nothing has to be changed if it is right as it stands."
    which = "it" if must == questions == 1 else "all of them" if must == questions else f"{must} of them"
    return f"{asked}. The answer of the trial waits for {which}."


def record_words(key: Mapping[str, str]) -> str:
    """Name a record as a gardener would: bucket 334X, head 2.

    Examples
    --------
    >>> record_words({"bucket": "334X", "head": "2"})
    'bucket 334X, head 2'
    >>> record_words({"bucket": "334X", "measured_on": "2026-08-20"})
    'bucket 334X, 20 August 2026'
    """
    words = []
    for column, text in key.items():
        if column.endswith("_on"):
            words.append(date_words(text) or "no date")
        elif column != "site":
            words.append(f"{column} {text or '?'}")
    return ", ".join(words) or "visit"


def place_words(problem: Problem, key: Mapping[str, str] | None) -> str:
    """Say to the adviser where a problem is."""
    record = record_words(key) if key is not None else ""
    row = f"{'row' if problem.file.endswith('.csv') else 'line'} {problem.row}" if problem.row else ""
    return ", ".join(filter(None, (problem.file, row, record)))


def column_words(file: str, column: str | None) -> str:
    """Name a column as forms do; a key of the protocol, or a column that no schema knows, by itself.

    Examples
    --------
    >>> column_words("heads.csv", "weight_g"), column_words("trial.toml", "layout.seed")
    ('Head weight (g)', 'layout.seed')
    """
    from trialkit.domain.table_names import TABLE_NAMES
    from trialkit.tables.table_schema import load_schema

    if column is None:
        return ""
    schema = next((load_schema(name) for name in TABLE_NAMES if f"{name}.csv" == file), None)
    if schema is None or column not in schema.columns:
        return column
    return schema.field(column).heading
