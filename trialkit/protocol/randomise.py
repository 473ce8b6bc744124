"""Making layout.csv from a protocol, and knowing when it is too late to."""

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray
from trialkit.domain.errors import WrongCall
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.table_names import FORMS_FOLDER, RECORD_TABLES, TableName
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.domain.treatment import Treatment
from trialkit.languages import translatable
from trialkit.layouts.efficiency import LayoutEfficiency, layout_efficiency
from trialkit.layouts.information import information_matrix
from trialkit.layouts.kinds import LAYOUT_KINDS, lay_out
from trialkit.layouts.layout_options import LayoutOptions
from trialkit.layouts.randomised_strata import labels_of
from trialkit.protocol.trial_protocol import Protocol
from trialkit.tables.bucket_ids import LARGEST_NUMBER, garden_bucket_ids, make_bucket_id
from trialkit.tables.headings import headings_of, plain_heading

"""From how many sites on sites, and what differs between them, are random in the analysis."""


@dataclass(frozen=True)
class AddedGarden:
    """A garden that joined once the layout stood, and the blocks that it has."""

    site: str
    blocks: int


def randomise(protocol: Protocol, sites: pd.DataFrame) -> pd.DataFrame:
    """Lay out a trial by its protocol's seed.

    Sites are taken in the order of their names, whatever their order in the file, so that the same protocol and the
    same set of sites always give the same layout. Identities are given out in bench order, after randomisation: an
    identity tells nothing of its bucket's treatment.

    Where the protocol's `layout.lots` are each garden's own, a garden's layout and identities follow from seed, trial
    and garden alone, unless gardens share the treatments out among them (`LayoutKind.shares_out`). A garden that joins
    later is drawn by `added_garden`.

    Parameters
    ----------
    protocol : Protocol
        What to lay out.
    sites : pandas.DataFrame
        Checked sites that the trial begins with; the column site is used.

    Returns
    -------
    pandas.DataFrame
        The columns of layout.csv (volunteer, whole_plot, row and column, bench_row and bench_column only where the
        layout has them), one row a bucket, in bench order.

    Raises
    ------
    WrongCall
        If there are no sites, more buckets than identities, two gardens that would share identities, or no such
        layout; says what would do.
    """
    plan, options = protocol.layout, layout_options(protocol)
    treatments = protocol.treatments()
    names = sorted(str(name) for name in sites["site"])
    if plan.kind == "augmented blocks" and plan.blocks * len(names) == 1:
        raise WrongCall(
            translatable(
                "Augmented blocks need at least two blocks: a check in one bucket tells nothing of how they differ."
            )
        )
    if plan.lots == "garden" and not LAYOUT_KINDS[plan.kind].shares_out and names:
        drawn = [
            lay_out(plan.kind, treatments, [name], plan.blocks, _lots_of(protocol, name), options) for name in names
        ]
        layout = pd.concat(drawn, ignore_index=True)
    else:
        count = LAYOUT_KINDS[plan.kind].sizes(len(treatments), plan.blocks, options)[0] * len(names)
        if plan.lots == "trial" and count > LARGEST_NUMBER:
            raise WrongCall(
                translatable("The protocol asks for {count} buckets, but at most {largest_number} can be labelled."),
                count=count,
                largest_number=LARGEST_NUMBER,
            )
        rng = np.random.Generator(np.random.PCG64(protocol.seed))
        layout = lay_out(plan.kind, treatments, names, plan.blocks, rng, options)
    if plan.lots == "garden":
        layout.insert(0, "bucket", _identities(protocol, layout["site"]))
    else:
        layout.insert(0, "bucket", [make_bucket_id(number) for number in range(1, len(layout) + 1)])
    _refuse_shared_labels(layout)
    return layout


def added_garden(protocol: Protocol, standing: pd.DataFrame, garden: AddedGarden) -> pd.DataFrame:
    """Lay out one garden more, which leaves all that stands as it is.

    Its lots follow from seed, trial and garden; where gardens share the treatments out among them, from what stands
    too, as its treatments are then chosen to tell most beside those of the others.

    Parameters
    ----------
    protocol : Protocol
    standing : pandas.DataFrame
        The layout so far.
    garden : AddedGarden

    Returns
    -------
    pandas.DataFrame
        The garden's rows, as those of `randomise`.

    Raises
    ------
    WrongCall
        If it cannot be laid out, or would share labels with a garden that stands; says what would do.
    """
    kind, options, treatments = LAYOUT_KINDS[protocol.layout.kind], layout_options(protocol), protocol.treatments()
    if kind.shares_out:
        options = replace(options, standing=_information(treatments, standing, kind.random_terms))
    rng = _lots_of(protocol, garden.site)
    rows = lay_out(protocol.layout.kind, treatments, [garden.site], garden.blocks, rng, options)
    rows.insert(0, "bucket", _identities(protocol, rows["site"]))
    _refuse_shared_labels(pd.concat([standing[["bucket", "site"]], rows[["bucket", "site"]]], ignore_index=True))
    return rows


def _refuse_shared_labels(layout: pd.DataFrame) -> None:
    again = layout.loc[layout["bucket"].duplicated(), "site"]
    if len(again):
        name = again.iloc[0]
        raise WrongCall(
            translatable("Buckets of {name} would get labels of another garden. Give {name} another short name."),
            name=name,
        )


def _garden_key(protocol: Protocol, site: str) -> str:
    """What a garden is known by among those of all trials."""
    return f"{protocol.seed} {protocol.trial.id} {site}"


def _lots_of(protocol: Protocol, site: str) -> np.random.Generator:
    """The lots of one garden, which no other garden's depend on."""
    digest = hashlib.sha256(f"lots {_garden_key(protocol, site)}".encode()).digest()
    return np.random.Generator(np.random.PCG64(int.from_bytes(digest)))


def _identities(protocol: Protocol, sites: pd.Series) -> list[str]:
    """Identities of buckets that stand together by garden."""
    counts = sites.value_counts(sort=False)
    return [one for site, count in counts.items() for one in garden_bucket_ids(_garden_key(protocol, str(site)), count)]


def _information(treatments: pd.DataFrame, standing: pd.DataFrame, terms: Sequence[str]) -> FloatArray:
    """Return the information matrix of what stands, for the treatments in their order."""
    number = {Treatment.of(row): place for place, row in enumerate(treatments.to_dict("records"))}
    planned = [number.get(Treatment.of(row), -1) for row in standing.to_dict("records")]
    known_rows = standing.assign(treatment=planned).sort_values("bucket")  # whatever the order in which they stand
    own = known_rows[known_rows["treatment"] >= 0]
    treatment = own["treatment"].to_numpy(dtype=np.intp)
    known = information_matrix(treatment, [labels_of(own, term) for term in terms])
    wider = len(treatments) - len(known)
    return np.pad(known, ((0, wider), (0, wider)))


def layout_options(protocol: Protocol) -> LayoutOptions:
    """Return what the protocol's layout section asks for, in terms of rows and columns of its treatments."""
    plan, treatments = protocol.layout, protocol.treatments()
    return LayoutOptions(
        whole_plot=FACTOR_COLUMNS[plan.whole_plot] if plan.whole_plot else None,
        block_size=plan.block_size,
        rows=plan.rows,
        columns=plan.columns,
        resolvable=plan.resolvable,
        checks=_check_rows(protocol, treatments),
        practice=_practice_row(protocol, treatments),
        practice_buckets=plan.practice_buckets,
        keep_apart=plan.keep_apart,
        bench_columns=plan.bench_columns,
    )


def efficiency_of(protocol: Protocol, layout: pd.DataFrame) -> LayoutEfficiency:
    """Work out what a layout of the protocol can tell, as `layout_efficiency`.

    From three sites up the effects of the factors are taken to differ between sites at random, as the analysis has it.
    """
    terms = LAYOUT_KINDS[protocol.layout.kind].random_terms
    differ = layout["site"].nunique() >= FEWEST_RANDOM_LEVELS
    return layout_efficiency(layout, protocol.treatment_columns, terms, effects_differ=differ)


def _practice_row(protocol: Protocol, treatments: pd.DataFrame) -> int:
    return [Treatment.of(row) for row in treatments.to_dict("records")].index(protocol.practice)


def _check_rows(protocol: Protocol, treatments: pd.DataFrame) -> tuple[int, ...]:
    """Rows of the checks: those named, or the current practice."""
    if protocol.layout.kind != "augmented blocks":
        return ()
    if not protocol.layout.checks:
        return (_practice_row(protocol, treatments),)
    column = FACTOR_COLUMNS[protocol.varied_factors[0]]
    return tuple(int(row) for row in np.flatnonzero(treatments[column].isin(protocol.layout.checks)))


def why_frozen(folder: Path) -> Literal["records", "amendments", "forms"] | None:
    """Tell what a layout that stands has brought about, so that it may not be drawn anew; None while it may."""
    if records_exist(folder):
        return "records"
    if _is_filled_in(folder, "amendments"):
        return "amendments"
    return "forms" if _holds_anything(folder / FORMS_FOLDER) else None


def records_exist(folder: Path) -> bool:
    """Tell whether a trial folder holds records, so that its layout must no longer change.

    So it does if heads.csv, solution.csv or visits.csv has anything but the headings of its columns, in whatever
    encoding and with whatever line ends, or cannot be read, to be on the safe side; or if returned holds anything.
    """
    return _holds_anything(folder / "returned") or any(_is_filled_in(folder, table) for table in RECORD_TABLES)


def _holds_anything(path: Path) -> bool:
    """Tell whether anything is in a folder; what is no folder, or cannot be looked into, counts as something."""
    try:
        return any(path.iterdir())
    except FileNotFoundError:
        return path.is_symlink()
    except OSError:
        return True


def _is_filled_in(folder: Path, table: TableName) -> bool:
    """Tell whether a table holds anything but headings of its columns."""
    path = folder / f"{table}.csv"
    if path.exists() and not path.is_file():
        return True
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return path.is_symlink()
    except OSError:
        return True
    text = data.decode("utf-16" if data.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig", "replace")
    heading, *rows = text.replace("\0", "").splitlines() or [""]
    known = {"", *headings_of(table)}
    return any(plain_heading(cell) not in known for cell in re.split("[,;\t]", heading)) or any(
        row.strip(' \t,;"') for row in rows
    )
