"""What a ledger's trials tell of the next one: their records on its scale, and variances for its power."""

from __future__ import annotations

import numpy as np

from trialkit.analysis.advising import AdviceQuestion, known_rows, treated_alike
from trialkit.documents.plan import VarianceSource
from trialkit.evidence.ledger_contents import LedgerContents
from trialkit.evidence.pooling import pooled_records, read_buckets
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.beliefs import Known, Outlook
from trialkit.stats.shares import overdispersion


def known_from(found: LedgerContents, question: AdviceQuestion) -> Known:
    """Records of the trials that count, as advice takes them.

    Parameters
    ----------
    found : LedgerContents
    question : AdviceQuestion
        Of the planned trial, on whose scale of doses the records are put.
    """
    records = pooled_records(found, read_buckets(found.entries), question)
    known = known_rows(records)
    alike = treated_alike(known.buckets)
    return Known(known, overdispersion(alike[alike["recorded"] > 0]))


def assumptions_from(thought: Outlook) -> Assumptions:
    """Variances as a ledger tells them, on average over what it leaves open."""
    variance = {name: float(np.mean(sd**2)) for name, sd in thought.beliefs.sd.items()}
    return Assumptions(
        site=variance["garden"],
        block=variance["block"],
        whole_plot=variance["whole_plot"],
        site_by_factor=variance["garden_cultivar"],
        bucket=variance["bucket"],
        head=thought.head_variance,
        source=VarianceSource("ledger"),
    )
