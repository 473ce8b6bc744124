"""What became of the heads, counted by hand."""

import pandas as pd

from trialkit.analysis.losses import count_losses, share_usable
from trialkit.documents.findings import HeadCounts, Losses

TREATMENTS = pd.DataFrame({"cultivar": ["Fenleaf", "Paleheart"]}, index=["t1", "t2"])
LAYOUT = pd.DataFrame({"bucket": list("abcd"), "site": ["s1", "s1", "s2", "s2"], "treatment": ["t1", "t2", "t1", "t2"]})


def count(rows: list[tuple[str, str, bool | None]], heads_per_bucket: int = 2) -> Losses:
    """Count heads given as bucket, outcome, marketable."""
    heads = pd.DataFrame(rows, columns=["bucket", "outcome", "marketable"])
    heads["marketable"] = heads["marketable"].astype("boolean")
    joined = heads.merge(LAYOUT, on="bucket").merge(TREATMENTS, left_on="treatment", right_index=True)
    return count_losses(LAYOUT.assign(planned=heads_per_bucket), joined, TREATMENTS, "t1", 0.95, [])


GOOD = [(bucket, "harvested", True) for bucket in "aabbccdd"]


def test_everything_harvested() -> None:
    """Nothing lost, nothing to warn of."""
    losses = count(GOOD)
    assert losses.heads == HeadCounts(planned=8, harvested=8, lost=0, not_ready=0, unrecorded=0, unmarketable=0)
    assert [losses.go_with_the_treatment, losses.gardens_vary, losses.unfinished] == [False] * 3


def test_every_fate_is_counted_under_its_treatment() -> None:
    """Dead, bolted, missing, not ready, without a record, and not marketable: each under its treatment and garden."""
    losses = count(
        [
            ("a", "harvested", False),
            ("a", "dead", None),
            ("b", "harvested", None),
            ("b", "bolted", None),
            ("c", "not_ready", None),
            ("d", "harvested", True),
            ("d", "missing", None),
        ]
    )
    first, second = (row.heads for row in losses.by_treatment)
    assert first == HeadCounts(planned=4, harvested=1, lost=1, not_ready=1, unrecorded=1, unmarketable=1)
    assert second == HeadCounts(planned=4, harvested=2, lost=1, not_ready=0, unrecorded=1, unmarketable=0)
    assert [row.share_usable for row in losses.by_treatment] == [0.0, 2 / 3]
    assert [row.heads.lost for row in losses.by_site] == [2, 0]
    assert losses.outcomes == {"harvested": 3, "not_ready": 1, "dead": 1, "bolted": 1, "missing": 1}
    assert losses.recorded == 6
    assert losses.treatments_vary


def test_what_says_nothing_of_the_treatment_is_no_record() -> None:
    """Eaten is lost; stolen, never planted, given up and blank are as no row; not weighed is harvested."""
    told = [("a", "eaten", None), ("b", "not_weighed", None), ("c", "harvested", None)]
    silent = [("a", "stolen", None), ("b", "never_planted", None), ("c", "gave_up", None), ("d", "", None)]
    with_rows, without = count([*told, *silent]), count(told)
    assert (with_rows.heads, with_rows.by_treatment) == (without.heads, without.by_treatment)
    assert with_rows.heads == HeadCounts(planned=8, harvested=2, lost=1, not_ready=0, unrecorded=5, unmarketable=0)
    assert set(with_rows.outcomes) - set(without.outcomes) == {"stolen", "never_planted", "gave_up"}


def test_a_blank_marketable_is_not_a_no() -> None:
    """A head whose marketability was not recorded counts as one to eat."""
    assert share_usable(count([(b, "harvested", None) for b in "aabbccdd"]).heads) == 1.0


def test_an_unfinished_trial_is_said() -> None:
    """Many heads without a record are named, and no treatment is said to have lost them."""
    losses = count([("a", "harvested", True), ("b", "harvested", True)])
    assert losses.heads.unrecorded == 6
    assert losses.unfinished
    assert not losses.go_with_the_treatment
    assert not losses.gardens_vary


def test_share_of_nothing() -> None:
    """A treatment without a record has no share; a head without a record is not a lost one."""
    assert share_usable(HeadCounts(4, 0, 0, 0, 4, 0)) is None
    assert share_usable(HeadCounts(4, 2, 0, 0, 2, 0)) == 1.0
