"""Rules that tie layout.csv and products.csv to the protocol."""

from collections.abc import Iterator, Sequence

import pandas as pd

from trialkit.documents.problems import Problem
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.fill_line import FULLEST
from trialkit.domain.quoting import shown
from trialkit.domain.table_names import PROTOCOL_FILE
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.layouts.efficiency import connected_groups
from trialkit.layouts.incomplete_blocks import fewest_blocks
from trialkit.layouts.kinds import LAYOUT_KINDS
from trialkit.layouts.row_column import fewest_rectangles
from trialkit.protocol.faults import line_of_key
from trialkit.protocol.randomise import AddedGarden, added_garden, layout_options, randomise
from trialkit.protocol.trial_protocol import Protocol
from trialkit.rules.amendments import Amendments, amendments_of
from trialkit.rules.mixings import feed_of, nutrient_product, water_elements
from trialkit.rules.trial_tables import Tables, TrialTables, at_rows
from trialkit.solution.nutrients import RECIPE_MG_L, scarce_elements, wanted_share, with_water
from trialkit.tables.bucket_ids import bucket_id_is_valid
from trialkit.tables.nearest import nearest_name
from trialkit.tables.problem import problem


def products_needed(protocol: Protocol) -> dict[tuple[str, ...], str]:
    """Map the key path of each product that the protocol names to the product's name."""
    needed: dict[tuple[str, ...], str] = {
        ("factors", name, "product"): f.product for name, f in protocol.factors.items() if f.product
    }
    for name, factor in protocol.factors.items():
        needed |= {("factors", name, "parts", part): part for part in factor.parts}
    acidifier = protocol.factors.get("acidifier")
    for place, level in enumerate(acidifier.levels if acidifier else (), start=1):
        if level != NO_PRODUCT:
            needed["factors", "acidifier", "levels", str(place)] = str(level)
    return needed


def products_are_listed(tables: TrialTables) -> Iterator[Problem]:
    """TK-P08: each product that the protocol names stands in products.csv."""
    if not tables.knows_all("products", "product"):
        return
    known = sorted(set(tables.frame("products")["product"]))
    for path, name in products_needed(tables.protocol).items():
        if name not in known:
            row, column = line_of_key(tables.protocol_text, path), ".".join(path)
            near = nearest_name(name, known)
            yield problem("TK-P08", PROTOCOL_FILE, row=row, column=column, product=name, near=near)


def parts_can_be_counted(tables: TrialTables) -> Iterator[Problem]:
    """TK-P12: where a feed has parts, products.csv tells label and level teaspoon of each, and of the base."""
    dose, products = tables.protocol.factors.get("dose"), tables.frame("products")
    if dose is None or not dose.parts:
        return
    nutrients = products[products["kind"] == "nutrient"]
    for path, name in products_needed(tables.protocol).items():
        is_listed = (products["product"] == name).any()
        if path[1] == "dose" and is_listed and nutrient_product(nutrients, name) is None:
            row = line_of_key(tables.protocol_text, path)
            yield problem("TK-P12", PROTOCOL_FILE, "label", row=row, column=".".join(path), part=name)


def feed_has_calcium(tables: TrialTables) -> Iterator[Problem]:
    """TK-P13: feed and water together bring calcium, at the dose of the current practice, in every garden (said once).

    What sites.csv does not tell of a water counts for nothing.
    """
    protocol = tables.protocol
    feed, dose_tsp = feed_of(protocol, tables.frame("products")), protocol.practice.dose_tsp
    if feed is None or not dose_tsp:
        return
    fed = feed.elements_mg_l(dose_tsp, protocol.bucket.volume_l)
    waters = [water_elements(row) for row in tables.frame("sites").to_dict("records")]
    short = sum("Ca" in scarce_elements(with_water(fed, water)) for water in waters)
    if short:
        row = line_of_key(tables.protocol_text, ("factors", "dose", "product"))
        yield problem(
            "TK-P13",
            PROTOCOL_FILE,
            row=row,
            column="factors.dose.product",
            feed=feed.name,
            dose_tsp=dose_tsp,
            fed_mg_l=fed.get("Ca", 0.0),
            needed_mg_l=RECIPE_MG_L["Ca"] * wanted_share(fed),
            gardens=short,
        )


def water_leaves_an_air_gap(tables: TrialTables) -> Iterator[Problem]:
    """TK-P14: where the protocol says what the bucket holds to the brim, the water leaves a gap below it."""
    bucket = tables.protocol.bucket
    if bucket.brim_l is not None and bucket.volume_l > FULLEST * bucket.brim_l:
        row, most = line_of_key(tables.protocol_text, ("bucket", "volume_l")), FULLEST * bucket.brim_l
        text = f"{bucket.volume_l:g}"
        yield problem("TK-P14", PROTOCOL_FILE, row=row, column="bucket.volume_l", text=text, most_l=most)


def treatments_are_planned(tables: TrialTables) -> Iterator[Problem]:
    """TK-L01: each level in layout.csv is one of the protocol's; an undeclared factor is blank."""
    reading = tables.readings["layout"]
    for name, column in FACTOR_COLUMNS.items():
        factor = tables.protocol.factors.get(name)
        if factor is None:
            blank = reading.frame[column].isin(["", float("nan")])
            yield from at_rows("TK-L01", reading, ~blank, column, "no factor", factor=name)
            continue
        unplanned = ~reading.frame[column].isin(factor.levels)
        yield from at_rows("TK-L01", reading, unplanned, column, levels=factor.levels)


def places_are_distinct(tables: Tables) -> Iterator[Problem]:
    """TK-L02: no two buckets of a site share a position."""
    reading = tables.readings["layout"]
    frame = reading.frame
    repeated = frame.duplicated(["site", "position"]) & frame["position"].notna() & (frame["site"] != "")
    yield from at_rows("TK-L02", reading, repeated, "position")


def identities_carry_a_check(tables: Tables) -> Iterator[Problem]:
    """TK-L03: a bucket's identity carries its check character (said once)."""
    frame = tables.frame("layout")
    plain = [bucket for bucket in frame["bucket"] if bucket and not bucket_id_is_valid(bucket)]
    if plain:
        yield problem("TK-L03", "layout.csv", column="bucket", count=len(plain), first=plain[0])


def whole_plots_hold_one_level(tables: TrialTables) -> Iterator[Problem]:
    """TK-L04: in a split-plot, each bucket has a whole plot, and each whole plot one level of its factor."""
    factor = tables.protocol.layout.whole_plot
    if factor is None or not len(tables.frame("layout")):
        return
    reading, column = tables.readings["layout"], FACTOR_COLUMNS[factor]
    if "whole_plot" in reading.missing_columns:
        yield problem("TK-L04", "layout.csv", "no column", row=1, column="whole_plot")
        return
    frame = reading.frame
    yield from at_rows("TK-L04", reading, frame["whole_plot"].isna(), "whole_plot", "not filled in")
    plots = frame.groupby(["site", "block", "whole_plot"])[column]
    mixed = frame["whole_plot"].notna() & (frame[column] != plots.transform("first"))
    yield from at_rows("TK-L04", reading, mixed, column, "mixed")


def places_are_filled_in(tables: TrialTables) -> Iterator[Problem]:
    """TK-L09: each bucket has the volunteer, or the row and column, that the kind of layout goes by."""
    reading, plan = tables.readings["layout"], tables.protocol.layout
    if not len(reading.frame):
        return
    for column in LAYOUT_KINDS[plan.kind].place_columns:
        if column == "whole_plot":
            continue  # TK-L04 tells of it
        if column in reading.missing_columns:
            yield problem("TK-L09", "layout.csv", "no column", row=1, column=column, kind=plan.kind)
        else:
            yield from at_rows("TK-L09", reading, reading.frame[column].isna(), column)


def layout_follows_the_plan(tables: TrialTables) -> Iterator[Problem]:
    """TK-L05: each site has each treatment as often as the protocol says, and each block or row what it should hold."""
    if not tables.knows_all("layout", "site") or tables.readings["layout"].missing_columns & set(
        FACTOR_COLUMNS.values()
    ):
        return
    protocol, columns = tables.protocol, list(FACTOR_COLUMNS.values())
    treatments, kind = protocol.treatments(), LAYOUT_KINDS[protocol.layout.kind]
    planned = pd.MultiIndex.from_frame(treatments)
    blocks = {garden.site: garden.blocks for garden in _amendments(tables).added}
    for site, buckets in tables.frame("layout").groupby("site"):
        own = blocks.get(str(site), protocol.layout.blocks)
        _, fewest, most = kind.sizes(len(treatments), own, layout_options(protocol))
        often = {"fewest": int(fewest.min()), "most": int(most.max())}
        counts = buckets.groupby(columns, dropna=False).size().reindex(planned, fill_value=0).to_numpy()
        differ = int(((counts < fewest) | (counts > most)).sum())
        if differ:
            case = "often" if often["fewest"] == often["most"] else "between"
            counts = {"treatments": len(planned), "buckets": len(buckets), "differ": differ, **often}
            yield problem("TK-L05", "layout.csv", case, column="site", site=str(site), **counts)
    yield from _places_hold_their_treatments(tables, columns)


def _places_hold_their_treatments(tables: TrialTables, columns: list[str]) -> Iterator[Problem]:
    """Tell of blocks, rows and columns that hold a treatment twice (said once for each sort of place)."""
    frame, kind = tables.frame("layout"), LAYOUT_KINDS[tables.protocol.layout.kind]
    for term in (*kind.complete, *kind.distinct):
        place = term.split(":")
        if set(place) & tables.readings["layout"].missing_columns or frame[place].isna().any(axis=None):
            continue
        twice = frame[frame.duplicated([*place, *columns])]
        if len(twice):
            count = len(twice.drop_duplicates(place))
            first = tuple(text for part in place for text in (part, str(twice.iloc[0][part])))
            yield problem("TK-L05", "layout.csv", "twice", column=place[-1], count=count, first=first)


def layout_compares_everything(tables: TrialTables) -> Iterator[Problem]:
    """TK-P11: the blocks, or rectangles, of all gardens suffice to compare all treatments."""
    plan, sites = tables.protocol.layout, tables.frame("sites")["site"].nunique()
    row = line_of_key(tables.protocol_text, ("layout", "blocks"))
    if plan.kind == "Latin square" and len(tables.protocol.treatments()) == 2 and plan.blocks < 2:
        yield problem("TK-P11", PROTOCOL_FILE, "one square", row=row, column="layout.blocks", blocks=plan.blocks)
    needed, shape = _fewest_blocks(tables.protocol)
    if not sites or not tables.knows_all("sites", "site") or sites * plan.blocks >= needed:
        return
    counts = {"needed": needed, "treatments": len(tables.protocol.treatments()), "blocks": sites * plan.blocks}
    yield problem(
        "TK-P11", PROTOCOL_FILE, "few blocks", row=row, column="layout.blocks", gardens=sites, **counts, **shape
    )


def _fewest_blocks(protocol: Protocol) -> tuple[int, dict[str, int]]:
    """Return how many blocks the layout takes at least, and what each holds where that is given."""
    plan, treatments = protocol.layout, len(protocol.treatments())
    if plan.block_size is not None:
        return fewest_blocks(treatments, plan.block_size), {"block_size": plan.block_size}
    if plan.rows is not None and plan.columns is not None:
        shape = {"rows": plan.rows, "columns": plan.columns}
        return fewest_rectangles(treatments, plan.rows, plan.columns), shape
    return (2 if plan.kind == "augmented blocks" else 1), {}


def treatments_are_connected(tables: TrialTables) -> Iterator[Problem]:
    """TK-L10: a chain of blocks (or rows and columns) joins every two treatments (said once)."""
    frame, kind = tables.frame("layout"), LAYOUT_KINDS[tables.protocol.layout.kind]
    columns = list(FACTOR_COLUMNS.values())
    terms = [term for term in kind.random_terms if not term.endswith("whole_plot")]
    needed = {"site", *columns, *(part for term in terms for part in term.split(":"))}
    if needed & tables.readings["layout"].missing_columns or len(frame) < 2:
        return
    groups = connected_groups(frame, columns, ["site", *terms])
    if len(groups) > 1:
        smallest = min(groups, key=len)
        named = " ".join(shown(value) for value in smallest[0] if value == value and value != "")
        yield problem("TK-L10", "layout.csv", groups=len(groups), treatment=named)


def sites_have_buckets(tables: Tables) -> Iterator[Problem]:
    """TK-L06: each site in sites.csv has buckets in layout.csv."""
    if not tables.knows_all("layout", "site"):
        return
    reading = tables.readings["sites"]
    bare = ~reading.frame["site"].isin(set(tables.frame("layout")["site"])) & (reading.frame["site"] != "")
    yield from at_rows("TK-L06", reading, bare, "site")


def layout_is_that_of_the_seed(tables: TrialTables) -> Iterator[Problem]:
    """TK-L07: layout.csv is what randomising by the protocol's seed gives (said once for each garden that is not).

    Where none is, it is another layout altogether (said once).
    """
    frame, places = tables.frame("layout"), LAYOUT_KINDS[tables.protocol.layout.kind].place_columns
    columns = ["site", "block", *places, "position", *FACTOR_COLUMNS.values()]
    missing = set(columns) & tables.readings["layout"].missing_columns
    if not len(frame) or missing or not tables.knows_all("layout", "bucket"):
        return
    here = frame.drop_duplicates("bucket")[["bucket", *columns]]
    try:
        otherwise = _gardens_otherwise(tables.protocol, here, _amendments(tables).added)
    except ValueError:  # what cannot be laid out has been told by another rule
        return
    if otherwise == set(here["site"]):
        yield problem("TK-L07", "layout.csv", "layout", seed=tables.protocol.seed)
        return
    for site in sorted(otherwise):
        yield problem("TK-L07", "layout.csv", "garden", column="site", site=site, seed=tables.protocol.seed)


def _gardens_otherwise(protocol: Protocol, here: pd.DataFrame, added: Sequence[AddedGarden]) -> set[str]:
    """Name the gardens whose buckets are not as drawn.

    A garden put in by hand into a draw for all gardens shifts the lots of the others: where the draw is right without
    one of them, that one it was.
    """
    joined = {garden.site for garden in added}
    first = here[~here["site"].isin(joined)]
    otherwise = _otherwise(first, _drawn(protocol, first)) if len(first) else set()
    if len(otherwise) > 1 and protocol.layout.lots == "trial" and not LAYOUT_KINDS[protocol.layout.kind].shares_out:
        for one in sorted(otherwise):
            others = first[first["site"] != one]
            if not _otherwise(others, _drawn(protocol, others)):
                otherwise = {one}
                break
    standing = first
    for garden in added:
        rows = here[here["site"] == garden.site]
        if len(rows):
            otherwise |= _otherwise(rows, added_garden(protocol, standing, garden))
            standing = pd.concat([standing, rows])
    return otherwise


def _drawn(protocol: Protocol, rows: pd.DataFrame) -> pd.DataFrame:
    return randomise(protocol, rows[["site"]].drop_duplicates())


def _otherwise(here: pd.DataFrame, drawn: pd.DataFrame) -> set[str]:
    """Name the gardens that are not as they were drawn."""
    own, wanted = (
        dict(iter(_as_text(table[list(here.columns)]).set_index("bucket").groupby("site"))) for table in (here, drawn)
    )
    return {site for site, rows in own.items() if site not in wanted or not rows.equals(wanted[site])}


def _amendments(tables: TrialTables) -> Amendments:
    return amendments_of(tables.frame("amendments"), tables.protocol.layout.blocks)


def treatments_are_repeated(tables: TrialTables) -> Iterator[Problem]:
    """TK-L08: some treatment, and in a split-plot some level on whole plots, stands in two places or more (said once).

    Fisher (1935), The Design of Experiments, ch. 4: without replication there is no estimate of error.
    """
    frame, whole_plot = tables.frame("layout"), tables.protocol.layout.whole_plot
    needed = {"block", "whole_plot", *FACTOR_COLUMNS.values()}
    if not len(frame) or needed & tables.readings["layout"].missing_columns - {"whole_plot"}:
        return
    if frame.groupby(list(FACTOR_COLUMNS.values()), dropna=False).size().max() < 2:
        yield problem("TK-L08", "layout.csv", "treatments")
    elif whole_plot and "whole_plot" not in tables.readings["layout"].missing_columns:
        plots = frame.drop_duplicates(["site", "block", "whole_plot"])
        if plots.groupby(FACTOR_COLUMNS[whole_plot]).size().max() < 2:
            yield problem("TK-L08", "layout.csv", "whole plots", factor=whole_plot)


def _as_text(table: pd.DataFrame) -> pd.DataFrame:
    """Return all as text, in the order of the buckets."""
    texts = pd.DataFrame({name: table[name].map(str).to_numpy(dtype=object) for name in table}, dtype=str)
    return texts.sort_values("bucket", ignore_index=True)
