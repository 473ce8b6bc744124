"""Doses as the plant meets them, and each garden's water by its own records: prediction beside record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from trialkit.pages.numerals import ABSENT, fixed, is_number, plain
from trialkit.pages.table import Row, Table, columns, make_table
from trialkit.report.reading import Json, Reading, mapping, rows
from trialkit.words.treatments import level_label

FAR_APART = 1.25
"""Stated and effective alkalinity that differ by more than this factor, and beyond the interval, are remarked on."""


@dataclass(frozen=True)
class WaterTables:
    """A sentence or two, and the tables."""

    sentences: tuple[str, ...]
    tables: tuple[Table, ...]


def water_tables(reading: Reading) -> WaterTables | None:
    """Collect what the results say of nutrient, acid and water; None where they say nothing."""
    water = mapping(reading.results.get("water"))
    found = [table for table in (_doses(water), _sites(water), _readings(water)) if table]
    return WaterTables(_sentences(water), tuple(found)) if found else None


def _doses(water: Json) -> Table | None:
    heads = columns(f"dose of {water.get('product')}", "g a bucket", "N, mg/L", "P, mg/L", "K, mg/L", "mS/cm, about")
    body = (
        Row(
            level_label("dose_tsp", row.get("dose_tsp")),
            (
                plain(row.get("grams")),
                plain(row.get("n_mg_l")),
                *(plain(mapping(row.get("elements_mg_l")).get(element, 0.0)) for element in ("P", "K")),
                fixed(row.get("ec_ms_cm"), 1),
            ),
        )
        for row in rows(water, "doses")
    )
    note = (
        "What nutrient adds to the water of a full bucket, by the label and the weight of a level teaspoon. "
        "Conductivity, with that of the water, is an estimate within about 15 %."
    )
    return make_table("doses", "What a dose is in the bucket", heads, body, note)


def _sites(water: Json) -> Table | None:
    heads = columns("garden", "stated", "by its readings", "95 % interval", "readings")
    body = (
        Row(
            str(row.get("site")),
            (
                plain(row.get("stated")),
                plain(row.get("effective"), 2),
                _interval(row),
                plain(row.get("readings")),
            ),
        )
        for row in rows(water, "sites")
    )
    note = (
        "Alkalinity, mg/L as calcium carbonate: as sites.csv states it, and as pH before and after the recorded acid "
        "says (charge balance; a strip's reading is taken as the step that it is)."
    )
    return make_table("waters", "Each garden's water", heads, body, note)


def _interval(row: Json) -> str:
    if not is_number(row.get("lower")) or not is_number(row.get("upper")):
        return ABSENT
    return f"{plain(row.get('lower'), 2)} to {plain(row.get('upper'), 2)}{' or beyond' if row.get('bounded') else ''}"


def _readings(water: Json) -> Table | None:
    heads = columns("garden and acid", "buckets", "pH read", "foreseen", "foreseen by its readings")
    body = (
        Row(
            f"{row.get('site')}, {level_label('acidifier', row.get('acidifier'))}",
            (
                plain(row.get("buckets")),
                _ph(row.get("recorded")),
                _ph(row.get("foreseen")),
                _ph(row.get("fitted")),
            ),
        )
        for row in rows(water, "readings")
    )
    note = "Means over buckets of pH after mixing: read, and foreseen by the stated and by the fitted alkalinity."
    return make_table("ph", "pH after mixing, prediction beside record", heads, body, note)


def _ph(value: Any) -> str:
    return fixed(value, 1) if is_number(value) else ABSENT


def _sentences(water: Json) -> tuple[str, ...]:
    """Name gardens whose readings contradict what was stated of their water."""
    return tuple(
        f"At {row.get('site')} the acid acted as in water of about {plain(row.get('effective'), 2)} mg/L, not the "
        f"{plain(row.get('stated'))} mg/L stated: test that water's alkalinity before giving acid by it."
        for row in rows(water, "sites")
        if _contradicts(row)
    )


def _contradicts(row: Json) -> bool:
    numbers: list[Any] = [row.get(key) for key in ("stated", "effective", "lower", "upper")]
    if not all(is_number(value) and value > 0 for value in numbers):
        return False
    stated, effective, lower, upper = numbers
    ratio = max(stated / effective, effective / stated)
    return bool(ratio > FAR_APART and not lower <= stated <= upper)
