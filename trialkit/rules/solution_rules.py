"""Rules about what was mixed and measured: as randomised, and as chemistry allows."""

from collections.abc import Iterator

import pandas as pd

from trialkit.documents.problems import Problem
from trialkit.domain.heads import GONE
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.rules.departure_rules import departures_in
from trialkit.rules.mixings import FARTHEST_VOLUME, feed_of, mixings, predicted_ph, strength, water_elements
from trialkit.rules.trial_tables import Tables, TrialTables, at_rows
from trialkit.solution.acid_steps import HIGHEST_ALKALINITY_MG_L
from trialkit.solution.acids import KITCHEN_ACIDS, VINEGAR_PCT, kitchen_fault
from trialkit.tables.problem import problem

FEWEST_READINGS = 3
# Nutrient strength is proportional to the dose in the same water; level spoons repeat to within about a tenth (common
# practice, no source), so a reading half as high again as others at its dose was dosed or read otherwise.
FAR_IN_RATIO = 1.5
STRIP_ERROR_PH = 0.75
# A label's estimate is within 15 %, a spoon within a tenth; meters of parts per million show half or 0.7 as much.
FAR_FOR_A_GARDEN = 1.6


def acids_are_of_the_kitchen(tables: Tables) -> Iterator[Problem]:
    """TK-S08: the strength of a liquid acid is one that a kitchen has."""
    reading = tables.readings["products"]
    frame = reading.frame
    known = frame["acid"].isin(KITCHEN_ACIDS) & (frame["acid_pct_w_v"] > 0)
    faults = pd.Series("", index=frame.index, dtype=object)
    for row in frame.index[known]:
        faults[row] = kitchen_fault(frame.at[row, "acid"], float(frame.at[row, "acid_pct_w_v"])) or ""
    for fault in ("too weak", "too strong"):
        yield from at_rows(
            "TK-S08", reading, faults == fault, "acid_pct_w_v", fault, least=VINEGAR_PCT[0], most=VINEGAR_PCT[1]
        )


def waters_can_be_served_by_acid(tables: TrialTables) -> Iterator[Problem]:
    """TK-S09: where acid is tried no garden's water has more alkalinity than acid can serve."""
    factor = tables.protocol.factors.get("acidifier")
    if factor is None or all(level == NO_PRODUCT for level in factor.levels):
        return
    reading = tables.readings["sites"]
    beyond = reading.frame["alkalinity_mg_l_caco3"] > HIGHEST_ALKALINITY_MG_L
    yield from at_rows("TK-S09", reading, beyond, "alkalinity_mg_l_caco3", most=HIGHEST_ALKALINITY_MG_L)


def acid_lowers_ph(tables: Tables) -> Iterator[Problem]:
    """TK-S03: with acid added, pH after is not above pH before."""
    reading = tables.readings["solution"]
    frame = reading.frame
    rose = (frame["acid_tsp"] > 0) & (frame["ph_after"] > frame["ph_before"])
    yield from at_rows("TK-S03", reading, rose, "ph_after")


def ph_is_near_the_foreseen(tables: TrialTables) -> Iterator[Problem]:
    """TK-S06: pH after mixing is near what charge balance foresees for the water, the acid and the nutrient.

    What is foreseen is a range: alkalinity may be off by a third and acid by a fifth, a strip by half a step and as
    much again by eye (common practice, no source); pH is far only beyond all of these.
    """
    reading = tables.readings["solution"]
    frames = (tables.frame(name) for name in ("products", "sites", "layout", "solution"))
    mixed = mixings(tables.protocol, *frames)
    read = mixed["ph_after"]
    if not read.notna().any():
        return
    low, high = (
        predicted_ph(mixed.assign(acid_mol_l=mixed["acid_mol_l"] * acid), mixed["water_alkalinity"] * water)
        for acid, water in ((1.2, 0.67), (0.8, 1.33))
    )
    rose = (mixed["acid_tsp"] > 0) & (read > mixed["ph_before"])  # told by TK-S03
    far = ((read < low - STRIP_ERROR_PH) | (read > high + STRIP_ERROR_PH)) & ~rose
    for row in mixed.index[far]:
        here = pd.Series(reading.frame.index == row, index=reading.frame.index)
        yield from at_rows("TK-S06", reading, here, "ph_after", lowest=float(low[row]), highest=float(high[row]))


def meters_read_in_millisiemens(tables: TrialTables) -> Iterator[Problem]:
    """TK-S07: a garden's conductivities are not all off what the label foresees by one factor (once a garden)."""
    feed = feed_of(tables.protocol, tables.frame("products"))
    if feed is None:
        return
    waters = {row["site"]: water_elements(row) for row in tables.frame("sites").to_dict("records")}
    frames = (tables.frame(name) for name in ("products", "sites", "layout", "solution"))
    mixed = mixings(tables.protocol, *frames)
    read = mixed[mixed["ec_ms_cm"].notna() & (mixed["nutrient_tsp"] > 0) & mixed["water_alkalinity"].notna()]
    for site, group in read.groupby("site"):
        if len(group) < FEWEST_READINGS:
            continue
        litres = float(group["volume_l"].fillna(tables.protocol.bucket.volume_l).median())
        alkalinity = float(group["water_alkalinity"].iloc[0])
        by_dose = {
            dose: strength(feed, dose, litres, alkalinity, waters[site]) for dose in group["nutrient_tsp"].unique()
        }
        ratio = (
            group["ec_ms_cm"] / group["nutrient_tsp"].map({d: found.value for d, found in by_dose.items()})
        ).median()
        if not 1 / FAR_FOR_A_GARDEN < ratio < FAR_FOR_A_GARDEN:
            row = int(group.index[0])
            yield problem("TK-S07", "solution.csv", row=row, column="ec_ms_cm", site=str(site), ratio=float(ratio))


def volumes_are_near_the_fill_line(tables: TrialTables) -> Iterator[Problem]:
    """TK-S12: the volume recorded with a first mixing is not so far from the protocol's that it was mistyped.

    One of which its own row says why is a departure (TK-S02).
    """
    reading, planned = tables.readings["solution"], tables.protocol.bucket.volume_l
    volume = _first_mixings(tables)["volume_l"]
    far = volume.notna() & ~volume.between(planned / FARTHEST_VOLUME, planned * FARTHEST_VOLUME)
    if far.any():
        far &= ~volume.index.isin([one.row for one in departures_in(tables) if one.kind == "volume"])
    where = pd.Series(reading.frame.index.isin(volume.index[far]), index=reading.frame.index)
    yield from at_rows("TK-S12", reading, where, "volume_l", planned_l=planned)


def strength_follows_dose(tables: Tables) -> Iterator[Problem]:
    """TK-S04: a first mixing's conductivity is near that of others with the same dose in the same garden's water."""
    reading = tables.readings["solution"]
    first = _first_mixings(tables)
    per_litre = first["nutrient_tsp"] / first["volume_l"]
    usual = first["volume_l"].median()
    site = _of_layout(tables, first, "site").fillna("")
    alike = [site, first["nutrient_tsp"]]
    # Volumes differ a little: readings are compared as if all buckets held the usual one.
    strength = first["ec_ms_cm"] * (first["nutrient_tsp"] / usual) / per_litre
    middle = strength.groupby(alike).transform("median")
    count = strength.groupby(alike).transform("count")
    far = (count >= FEWEST_READINGS) & (middle > 0) & ~(strength / middle).between(1 / FAR_IN_RATIO, FAR_IN_RATIO)
    far &= strength.notna()
    for (row, is_far), value in zip(far.items(), middle, strict=True):
        if is_far:
            here = pd.Series(reading.frame.index == row, index=reading.frame.index)
            yield from at_rows("TK-S04", reading, here, "ec_ms_cm", usual_ms_cm=float(value))


def solution_is_recorded_while_heads_grow(tables: Tables) -> Iterator[Problem]:
    """TK-S05: nothing is measured in a bucket after its last head was cut."""
    reading, heads = tables.readings["solution"], tables.frame("heads")
    if not len(heads):
        return
    ended = heads["harvested_on"].notna() | heads["outcome"].isin(GONE)
    finished = ended.groupby(heads["bucket"]).all()
    last = heads.groupby("bucket")["harvested_on"].max()[finished].reindex(reading.frame["bucket"])
    late = reading.frame["measured_on"] > last.set_axis(reading.frame.index)
    yield from at_rows("TK-S05", reading, late, "measured_on")


def _first_mixings(tables: Tables) -> pd.DataFrame:
    """Return the first row of each bucket in which nutrient was added; the index is the spreadsheet row."""
    frame = tables.frame("solution")
    dosed = frame[frame["nutrient_tsp"].notna()].sort_values("measured_on", kind="stable")
    return dosed.drop_duplicates("bucket")


def _of_layout(tables: Tables, rows: pd.DataFrame, column: str) -> pd.Series:
    """Look a column of the layout up for rows of another table; missing where the layout does not know the bucket."""
    known = tables.frame("layout").drop_duplicates("bucket").set_index("bucket")[column]
    return known.reindex(rows["bucket"]).set_axis(rows.index)
