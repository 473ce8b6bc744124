"""Trials in folders beside a trial's own: whose bucket a label is that the trial does not have, and labels of both."""

from collections.abc import Collection, Iterator, Mapping
from pathlib import Path

from trialkit.documents.problems import Problem
from trialkit.domain.reading_budget import PLAN_TABLE, PROTOCOL, OverBudget
from trialkit.domain.table_names import PROTOCOL_FILE
from trialkit.tables.raw_table import RawTable, parse_csv
from trialkit.tables.source_file import read_source
from trialkit.tables.toml_text import toml_data

MOST_LOOKED_AT = 200
"""Folders beside a trial's own: more than a county runs in many seasons."""


def labels_elsewhere(folder: Path, buckets: Collection[str]) -> tuple[str, ...]:
    """Name the other trials that have buckets with some of these labels."""
    return tuple(sorted({trial for trial, labels in _neighbours(folder) if not labels.isdisjoint(buckets)}))


def trials_by_label(folder: Path) -> Mapping[str, str]:
    """Return the trial of each label that one trial beside this one has, and no other."""
    found: dict[str, str] = {}
    for trial, labels in _neighbours(folder):
        for label in labels:
            found[label] = "" if label in found else trial
    return {label: trial for label, trial in found.items() if trial}


def _neighbours(folder: Path) -> Iterator[tuple[str, frozenset[str]]]:
    """Yield name and labels of each trial beside this one, as far as its files can be read; of 20 MB in all."""
    own = folder.resolve()
    try:
        beside = sorted(path for path in own.parent.iterdir() if path != own and (path / PROTOCOL_FILE).is_file())
    except OSError:
        return
    characters = 0
    for path in beside[:MOST_LOOKED_AT]:
        layout = read_source(path, "layout.csv")
        characters += 0 if isinstance(layout, Problem) else len(layout.text)
        if characters > PLAN_TABLE.file_bytes:
            return
        table = layout if isinstance(layout, Problem) else parse_csv("layout.csv", layout.text)
        if isinstance(table, RawTable) and "bucket" in table.cells:
            yield _name(path), frozenset(table.cells["bucket"])


def _name(folder: Path) -> str:
    """Name a trial by its id, or by its folder where that cannot be read."""
    source = read_source(folder, PROTOCOL_FILE, budget=PROTOCOL)
    try:
        about = {} if isinstance(source, Problem) else toml_data(source.text).get("trial", {})
    except (ValueError, OverBudget):
        about = {}
    name = about.get("id") if isinstance(about, dict) else None
    return name if isinstance(name, str) and name else folder.name
