"""Making layout.csv from a protocol, and knowing when it is too late to."""

from pathlib import Path

import numpy as np
import pandas as pd

from trialkit.errors import WrongCall
from trialkit.layouts.kinds import LAYOUT_KINDS
from trialkit.trial.bucket_ids import LARGEST_NUMBER, make_bucket_id
from trialkit.trial.protocol import FACTOR_COLUMNS, Protocol

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
        The columns of layout.csv (whole_plot only for a split-plot), one row a bucket, in bench order.

    Raises
    ------
    WrongCall
        If there are no sites, or more buckets than identities.
    """
    plan = protocol.layout
    treatments = protocol.treatments()
    count = len(treatments) * plan.blocks * len(sites)
    if count > LARGEST_NUMBER:
        raise WrongCall(f"The protocol asks for {count} buckets; at most {LARGEST_NUMBER} can be labelled.")
    rng = np.random.Generator(np.random.PCG64(protocol.seed))
    whole_plot = FACTOR_COLUMNS[plan.whole_plot] if plan.whole_plot else None
    names = sorted(str(name) for name in sites["site"])
    layout = LAYOUT_KINDS[plan.kind].randomise(treatments, names, plan.blocks, rng, whole_plot=whole_plot)
    layout.insert(0, "bucket", [make_bucket_id(number) for number in range(1, count + 1)])
    return layout


def records_exist(folder: Path) -> bool:
    """Tell whether a trial folder holds records, so that its layout must no longer change.

    Parameters
    ----------
    folder : Path
        The trial folder.

    Returns
    -------
    bool
        True if heads.csv, solution.csv or visits.csv has anything below its header (or cannot be read, to be on the
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
