"""Doses as the plant meets them, and each garden's water by its own records: prediction beside record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from trialkit.documents.water import RecordedWater, SiteWater
from trialkit.pages.numerals import ABSENT, interval, plain, told
from trialkit.pages.table import Row, Table, columns, make_table
from trialkit.report.reading import Reading
from trialkit.solution.nutrients import RECIPE_MG_L, USUAL_RECIPE, scarce_elements, shares_of_recipe
from trialkit.words.feed_words import scarce_words
from trialkit.words.treatment_names import acid_words

BESIDE_N = ("P", "K", "Ca", "Mg")
FAR_APART = 1.25
"""Stated and effective alkalinity that differ by more than this factor, and beyond the interval, are remarked on."""


@dataclass(frozen=True)
class WaterTables:
    """A sentence or two, and the tables."""

    sentences: tuple[str, ...]
    tables: tuple[Table, ...]


def water_tables(reading: Reading) -> WaterTables | None:
    """Collect what the results say of nutrient, acid and water; None where they say nothing."""
    water = reading.results.water
    found = [table for table in (_doses(reading), _sites(water), _readings(water), _climbs(water)) if table]
    return WaterTables(_sentences(water), tuple(found)) if found else None


def _doses(reading: Reading) -> Table | None:
    water = reading.results.water
    heads = columns(
        f"dose of {water.product}",
        "g a bucket",
        "N, mg/L",
        *(f"{element}, mg/L" for element in BESIDE_N),
        "mS/cm, about",
    )
    body = (
        Row(
            reading.level_label("dose_tsp", row.dose_tsp),
            (
                plain(row.grams),
                plain(row.n_mg_l),
                *(plain(row.elements_mg_l.get(element, 0.0)) for element in BESIDE_N),
                told(row.ec_ms_cm, "mS/cm"),
            ),
        )
        for row in water.doses
    )
    recipe = ", ".join(f"{element} {mg_l:g}" for element, mg_l in RECIPE_MG_L.items())
    note = (
        "This is what nutrient adds to the water of a full bucket, by the label and the weight of a level spoon. "
        "Where a feed has several products, spoons and grams are of the first. "
        "Conductivity, with that of the water, is an estimate within about 15 %. "
        f"A published solution has {recipe} mg/L ({USUAL_RECIPE}, figures from memory)."
    )
    return make_table("doses", "What a dose is in the bucket", heads, body, note)


def _sites(water: RecordedWater) -> Table | None:
    heads = columns("garden", "stated", "by its readings", "95 % interval", "readings")
    body = (
        Row(
            row.site,
            (
                plain(row.stated),
                plain(row.effective, 2),
                _interval(row),
                plain(row.readings),
            ),
        )
        for row in water.sites
    )
    note = (
        "Alkalinity is in mg/L as calcium carbonate. It is as sites.csv states it, and as pH before and after the "
        "recorded acid says by charge balance. A strip's reading is taken as the step that it is."
    )
    return make_table("waters", "Each garden's water", heads, body, note)


def _interval(row: SiteWater) -> str:
    if row.lower is None or row.upper is None:
        return ABSENT
    return f"{plain(row.lower, 2)} to {plain(row.upper, 2)}{' or beyond' if row.bounded else ''}"


def _readings(water: RecordedWater) -> Table | None:
    heads = columns("garden and acid", "buckets", "pH read", "foreseen", "foreseen by its readings")
    body = (
        Row(
            f"{row.site}, {acid_words(row.acidifier)}",
            (
                plain(row.buckets),
                told(row.recorded, "pH"),
                told(row.foreseen, "pH"),
                told(row.fitted, "pH"),
            ),
        )
        for row in water.readings
    )
    note = (
        "These are means over buckets of the pH after mixing. It is as read, and as foreseen by the stated and by the "
        "fitted alkalinity."
    )
    return make_table("ph", "pH after mixing, prediction beside record", heads, body, note)


def _climbs(water: RecordedWater) -> Table | None:
    heads = columns("garden", "buckets", "later readings", "days between, mean", "pH a day", "95 % interval")
    body = (
        Row(
            row.site,
            (
                plain(row.buckets),
                plain(row.readings),
                told(row.days, "days"),
                told(row.ph_per_day, "pH a day"),
                interval(row.lower, row.upper, "pH a day"),
            ),
        )
        for row in water.climbs
    )
    note = (
        "This is from the pH after acid to the next reading, over the days between, as a mean over buckets. Carbon "
        "dioxide leaves, microbes eat the acid, and roots take up nitrate. It need not go on at this pace."
    )
    return make_table("climbs", "How fast the pH came back", heads, body, note)


def _sentences(water: RecordedWater) -> tuple[str, ...]:
    """Say what doses lack, and name gardens whose readings contradict what was stated of their water."""
    return (*_scarce(water), *_contradictions(water))


def _scarce(water: RecordedWater) -> Iterator[str]:
    """Say which of calcium and magnesium every dose lacks; they lack it alike, all being of one feed."""
    fed: dict[str, float] = next((dose.elements_mg_l for dose in reversed(water.doses) if dose.dose_tsp), {})
    for element in scarce_elements(fed):
        yield f"The water's own left aside: {scarce_words(element, shares_of_recipe(fed)[element])}"


def _contradictions(water: RecordedWater) -> tuple[str, ...]:
    return tuple(
        f"At {row.site} the acid acted as in water of about {plain(row.effective, 2)} mg/L, not the "
        f"{plain(row.stated)} mg/L stated. Test that water's alkalinity before giving acid by it."
        for row in water.sites
        if _contradicts(row)
    )


def _contradicts(row: SiteWater) -> bool:
    if not (row.stated and row.effective and row.lower and row.upper):
        return False
    ratio = max(row.stated / row.effective, row.effective / row.stated)
    return ratio > FAR_APART and not row.lower <= row.stated <= row.upper
