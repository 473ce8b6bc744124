"""Making layout.csv from a protocol, and knowing when it is too late to."""

from pathlib import Path

import numpy as np
import pandas as pd

from trialkit.domain.errors import WrongCall
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.domain.treatment import Treatment
from trialkit.layouts.efficiency import LayoutEfficiency, layout_efficiency
from trialkit.layouts.kinds import LAYOUT_KINDS, lay_out
from trialkit.layouts.layout_options import LayoutOptions
from trialkit.protocol.trial_protocol import Protocol
from trialkit.tables.bucket_ids import LARGEST_NUMBER, make_bucket_id

"""From how many sites on sites, and what differs between them, are random in the analysis."""
RECORD_FILES = ("heads.csv", "solution.csv", "visits.csv")


def randomise(protocol: Protocol, sites: pd.DataFrame) -> pd.DataFrame:
    """Lay out a trial by its protocol's seed.

    Sites are taken in the order of their names, whatever their order in the file, so that the same protocol and the
    same set of sites always give the same layout. Identities are given out in bench order, after randomisation: an
    identity tells nothing of its bucket's treatment.

    Parameters
    ----------
    protocol : Protocol
        What to lay out.
    sites : pandas.DataFrame
        Checked sites; the column site is used.

    Returns
    -------
    pandas.DataFrame
        The columns of layout.csv (volunteer, whole_plot, row and column, bench_row and bench_column only where the
        layout has them), one row a bucket, in bench order.

    Raises
    ------
    WrongCall
        If there are no sites, more buckets than identities, or no such layout; says what would do.
    """
    plan, options = protocol.layout, layout_options(protocol)
    treatments = protocol.treatments()
    names = sorted(str(name) for name in sites["site"])
    count = LAYOUT_KINDS[plan.kind].sizes(len(treatments), plan.blocks, options)[0] * len(names)
    if count > LARGEST_NUMBER:
        raise WrongCall(f"The protocol asks for {count} buckets; at most {LARGEST_NUMBER} can be labelled.")
    rng = np.random.Generator(np.random.PCG64(protocol.seed))
    layout = lay_out(plan.kind, treatments, names, plan.blocks, rng, options)
    layout.insert(0, "bucket", [make_bucket_id(number) for number in range(1, count + 1)])
    return layout


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


def records_exist(folder: Path) -> bool:
    """Tell whether a trial folder holds records, so that its layout must no longer change.

    So it does if heads.csv, solution.csv or visits.csv has anything below its header (or cannot be read, to be on the
    safe side), or the folder returned has anything in it.
    """
    returned = folder / "returned"
    if returned.is_dir() and any(returned.iterdir()):
        return True
    return any(_has_rows(folder / name) for name in RECORD_FILES)


def _has_rows(path: Path) -> bool:
    if not path.exists():
        return False
    if not path.is_file():
        return True
    with path.open("rb") as stream:
        next(stream, None)
        return any(line.strip(b" \t\r\n,;\0") for line in stream)
