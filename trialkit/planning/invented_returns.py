"""The spreadsheets that volunteers of the invented county send back: each right, and each a mess of its own kind."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path

import pandas as pd

from trialkit.tables.atomic import write_bytes

SHEETS = "sheets"
DATES = ("transplanted_on", "harvested_on", "last_not_ready_on")


def write_sheets(folder: Path, heads: pd.DataFrame, layout: pd.DataFrame) -> None:
    """Write one spreadsheet a garden into ``sheets``, in rotation as every kind of volunteer would."""
    (folder / SHEETS).mkdir(exist_ok=True)
    site = heads["bucket"].map(dict(zip(layout["bucket"], layout["site"], strict=True)))
    for i, (name, rows) in enumerate(heads.groupby(site, sort=True)):
        kind = list(KINDS.values())[i % len(KINDS)]
        write_bytes(folder / SHEETS / f"{name}.csv", kind(rows.reset_index(drop=True)))


def _text(rows: pd.DataFrame, delimiter: str = ",", above: str = "", below: str = "") -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=delimiter, lineterminator="\r\n")
    writer.writerow(rows.columns)
    writer.writerows(rows.to_numpy())
    return above + stream.getvalue() + below


def _with_dates(rows: pd.DataFrame, write: Callable[[date], str]) -> pd.DataFrame:
    written = {name: [write(date.fromisoformat(text)) if text else "" for text in rows[name]] for name in DATES}
    return rows.assign(**written)


def _semicolons(rows: pd.DataFrame) -> bytes:
    """A spreadsheet program set to a country with decimal commas; a byte-order mark in front."""
    weights = [f"{text},0" if text else "" for text in rows["weight_g"]]
    return _text(rows.assign(weight_g=weights), ";").encode("utf-8-sig")


def _day_first(rows: pd.DataFrame) -> bytes:
    """Days before months, weights with their unit."""
    weights = [f"{text} g" if text else "" for text in rows["weight_g"]]
    return _text(_with_dates(rows.assign(weight_g=weights), lambda day: f"{day:%d/%m/%Y}")).encode()


def _month_names(rows: pd.DataFrame) -> bytes:
    """Months by name, and a title, an empty line and the reader's own words above the headings."""
    months = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
    named = _with_dates(rows, lambda day: f"{day.day} {months[day.month - 1]} {day.year}")
    return _text(named, above="My lettuces this summer,,,\r\n,,,\r\n").encode("cp1252")


def _long_headings(rows: pd.DataFrame) -> bytes:
    """The headings that the form shows instead of the columns' names; shouted."""
    shown = {
        "bucket": "Bucket",
        "head": "HEAD",
        "transplanted_on": "Transplanted on",
        "outcome": "Outcome",
        "harvested_on": "Harvested on",
        "last_not_ready_on": "LAST SEEN NOT READY ON",
        "weight_g": "Head weight (g)",
        "marketable": "Marketable?",
        "note": "Note",
    }
    return _text(rows.rename(columns=shown)).encode()


def _tabs(rows: pd.DataFrame) -> bytes:
    """Pasted out of a window: tabs, two-byte letters, labels in small letters, Yes and No."""
    shown = rows.assign(bucket=rows["bucket"].str.lower(), marketable=rows["marketable"].str.capitalize())
    return _text(shown, "\t").encode("utf-16")


def _gaps(rows: pd.DataFrame) -> bytes:
    """Empty lines between buckets, spaces around everything, outcomes with capitals."""
    spaced = rows.assign(
        bucket=" " + rows["bucket"] + " ",
        outcome=rows["outcome"].str.replace("_", " ").str.title(),
    )
    lines = _text(spaced).splitlines()
    parts = [lines[0]]
    for i, line in enumerate(lines[1:]):
        parts += [",,,,,,,,"] * (i > 0 and rows["bucket"][i] != rows["bucket"][i - 1]) + [line]
    return ("\r\n".join(parts) + "\r\n").encode()


KINDS: Mapping[str, Callable[[pd.DataFrame], bytes]] = {
    "as asked": lambda rows: _text(rows).encode(),
    "semicolons": _semicolons,
    "day first": _day_first,
    "month names": _month_names,
    "long headings": _long_headings,
    "tabs": _tabs,
    "gaps": _gaps,
}
