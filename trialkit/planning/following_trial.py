"""The folder of the trial that follows a ledger: what is proposed, with gardens, products and practice carried over."""

from __future__ import annotations

import itertools
import math
import unicodedata
from collections.abc import Mapping, Sequence

from trialkit.documents.recommended import ProposedTrial, Recommended
from trialkit.domain.table_names import PROTOCOL_FILE
from trialkit.evidence.ledger import Entry
from trialkit.evidence.ledger_contents import LedgerContents
from trialkit.planning.next_trial import layout_for, levels_of, with_levels
from trialkit.planning.trial_value import stated_limits
from trialkit.protocol.protocol_text import protocol_text
from trialkit.protocol.sections import LEAST_HEAD_SD_G, MOST_SD_G, TrialSection, Variation
from trialkit.protocol.starting import FACTOR_REMARKS, LONGEST_ID, empty_record_tables, id_from
from trialkit.protocol.trial_protocol import Protocol, parse_protocol
from trialkit.rules.layout_rules import products_needed
from trialkit.tables.atomic import csv_of_texts
from trialkit.tables.formula_text import defused, restored
from trialkit.tables.raw_table import RawTable, parse_csv
from trialkit.tables.table_schema import load_schema

SITES_FILE, PRODUCTS_FILE = "sites.csv", "products.csv"
SPREADS: Mapping[str, str] = {
    "garden": "site_sd_g",
    "block": "block_sd_g",
    "whole_plot": "whole_plot_sd_g",
    "garden_cultivar": "site_by_factor_sd_g",
    "bucket": "bucket_sd_g",
}
"""Key of trial.toml for each standard deviation that a plan takes from a ledger."""
SD_DIGITS = 1
"""Standard deviations are written to a tenth of a gram."""


def following_files(
    found: LedgerContents, document: Recommended, proposed: ProposedTrial, name: str, question: str, seed: int
) -> dict[str, bytes]:
    """Write every file of the folder of the next trial, by its name.

    Parameters
    ----------
    found : LedgerContents
    document : Recommended
        What the ledger says now.
    proposed : ProposedTrial
        The trial that it proposes.
    name : str
        Of the folder; the trial is named after it.
    question : str
        That the trial is to answer.
    seed : int
        Of its layout.
    """
    protocol = following_protocol(found, document, proposed, _new_id(name, found), question, seed)
    remarks = {
        "variation": f"standard deviations as all earlier trials tell them ({len(found.entries)} by {document.date})",
        **{f"factors.{name}": remark for name, remark in FACTOR_REMARKS.items()},
        "limits": "the room in a garden is what the newest trial had",
        "decision": "the current practice is what is recommended now",
    }
    text = protocol_text(protocol, remarks)
    parse_protocol(text)
    return {
        PROTOCOL_FILE: text.encode("utf-8"),
        SITES_FILE: _sites(found.entries[-1], proposed.left_out),
        PRODUCTS_FILE: _products(found.entries, tuple(products_needed(protocol).values())),
        **{name: text.encode("utf-8") for name, text in empty_record_tables().items()},
    }


def following_protocol(
    found: LedgerContents, document: Recommended, proposed: ProposedTrial, id_: str, question: str, seed: int
) -> Protocol:
    """Make the protocol of the next trial; arguments as for `following_files`."""
    newest = found.latest.protocol
    room = stated_limits(newest, len(found.sites[0])).buckets_per_site
    about = TrialSection(
        id=id_,
        title=question,
        question=question,
        contact_role=newest.trial.contact_role,
        blind=newest.trial.blind,
        measures=newest.trial.measures,
        language=newest.trial.language,
    )
    return with_levels(newest, levels_of(proposed), document.recommended.treatment).model_copy(
        update={
            "trial": about,
            "layout": layout_for(newest, proposed.treatments, proposed.blocks, seed).model_copy(
                update={"lots": "garden"}
            ),
            "schedule": newest.schedule.model_copy(update={"sow_on": None}),
            # Gardens keep the room that they had: a small trial would else make all that follow small.
            "limits": newest.limits.model_copy(update={"buckets_per_site": room}),
            "variation": _variation(found, document, newest.variation),
        }
    )


def _variation(found: LedgerContents, document: Recommended, stated: Variation) -> Variation:
    """Standard deviations as the ledger tells them; as the newest protocol states them where it does not."""
    squares, df = found.head_scatter
    told = {SPREADS[one.of]: one.sd_g for one in document.decision.spreads if one.of in SPREADS}
    if df:
        told["head_sd_g"] = max(math.sqrt(squares / df), LEAST_HEAD_SD_G)
    # What a few wild records tell may be more than a protocol takes.
    return stated.model_copy(update={key: min(round(sd, SD_DIGITS), MOST_SD_G) for key, sd in told.items()})


def _new_id(name: str, found: LedgerContents) -> str:
    """Name the trial after its folder, other than any of the ledger."""
    wanted, known = id_from(name), {one.trial for one in found.index}
    numbered = (f"{wanted[: LONGEST_ID - 4]}-{i}" for i in itertools.count(2))
    return next(one for one in itertools.chain([wanted], numbered) if one not in known)


def _sites(newest: Entry, left_out: Sequence[str]) -> bytes:
    """sites.csv of the newest trial without the rows of some gardens."""
    table = parse_csv(SITES_FILE, newest.read(SITES_FILE).decode("utf-8-sig")) if left_out else None
    if not isinstance(table, RawTable):
        return newest.read(SITES_FILE)
    rows = [list(row) for row in zip(*table.cells.values(), strict=True)]
    kept = (row for row, site in zip(rows, table.cells["site"], strict=True) if _name(site) not in left_out)
    return csv_of_texts([list(table.cells), *kept]).encode("utf-8")


def _products(entries: Sequence[Entry], needed: Sequence[str]) -> bytes:
    """products.csv of the newest trial, and after its rows those of needed products that an earlier one alone had."""
    newest, *earlier = (_products_table(entry) for entry in reversed(entries))
    rows = [list(row) for row in zip(*newest.values(), strict=True)]
    known = {_name(cell) for cell in newest["product"]}
    more = [_row_of(name, earlier, list(newest)) for name in dict.fromkeys(needed) if name not in known]
    if not more:
        return entries[-1].read(PRODUCTS_FILE)
    return csv_of_texts([list(newest), *rows, *more]).encode("utf-8")


def _products_table(entry: Entry) -> Mapping[str, Sequence[str]]:
    """Cells of the products of a trial as they stand in its file; none where it has no file."""
    if PRODUCTS_FILE in entry.manifest.files:
        table = parse_csv(PRODUCTS_FILE, entry.read(PRODUCTS_FILE).decode("utf-8-sig"))
        if isinstance(table, RawTable) and "product" in table.cells:
            return table.cells
    return dict.fromkeys(load_schema("products").columns, ())


def _row_of(name: str, tables: Sequence[Mapping[str, Sequence[str]]], columns: Sequence[str]) -> list[str]:
    """Cells of a product in the newest trial that had it; its name alone where none did."""
    for table in tables:
        for at, cell in enumerate(table["product"]):
            if _name(cell) == name:
                return [table[column][at] if column in table else "" for column in columns]
    alone = {"product": defused(name), "kind": "acid"}
    return [alone.get(column, "") for column in columns]


def _name(cell: str) -> str:
    return unicodedata.normalize("NFC", restored(cell))
