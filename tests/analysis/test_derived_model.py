"""The model follows from the randomisation (buckets are the replicates: Hurlbert 1984)."""

import pandas as pd
import pytest

from trialkit.analysis.derived_model import derive_model
from trialkit.documents.findings import Note

RCB = ("site:block",)
SPLIT = ("site:block", "site:block:whole_plot")


def heads(sites: int, blocks: int, heads_per_bucket: int = 4) -> pd.DataFrame:
    """Heads of a trial with two cultivars on whole plots and three doses within."""
    rows = [
        (f"s{s}", b, c, d, f"{s}.{b}.{c}.{d}")
        for s in range(sites)
        for b in range(blocks)
        for c in ("A", "B")
        for d in (2.0, 4.0, 6.0)
        for _ in range(heads_per_bucket)
    ]
    frame = pd.DataFrame(rows, columns=["site", "block", "cultivar", "dose_tsp", "bucket"])
    return frame.assign(whole_plot=frame["cultivar"].map({"A": 1, "B": 2}))


@pytest.mark.parametrize(
    ("rows", "strata", "random", "fixed", "notes"),
    [
        # From three gardens up, gardens and their effects are random, with blocks and buckets.
        (heads(4, 3), RCB, ("site", "site:block", "bucket", "site:cultivar", "site:dose_tsp"), "", ()),
        # In one garden only blocks and buckets are random.
        (heads(1, 4), RCB, ("site:block", "bucket"), "", ()),
        # Two gardens are too few to stand for others: they enter as fixed, and that is said.
        (heads(2, 3), RCB, ("site:block", "bucket"), "site + ", (Note("few_levels", count=2, term="site"),)),
        # Two blocks in one garden are too few to estimate a variance from.
        (heads(1, 2), RCB, ("bucket",), "block + ", (Note("few_levels", count=2, term="site:block"),)),
        # With one head in each bucket, the bucket is the residual.
        (heads(3, 3, 1), RCB, ("site", "site:block", "site:cultivar", "site:dose_tsp"), "", ()),
        # A split-plot adds its whole plots.
        (heads(1, 6, 1), SPLIT, ("site:block", "site:block:whole_plot"), "", ()),
        # With one block in each garden, block and garden are the same grouping and one term stands for both.
        (heads(4, 1), RCB, ("site", "bucket", "site:cultivar", "site:dose_tsp"), "", ()),
    ],
)
def test_models(
    rows: pd.DataFrame, strata: tuple[str, ...], random: tuple[str, ...], fixed: str, notes: tuple[Note, ...]
) -> None:
    """What is random, fixed besides the treatments and said of it; without a term for buckets they are the residual."""
    model = derive_model(rows, ["cultivar", "dose_tsp"], strata)
    assert model.random == random
    assert model.formula("weight_g") == f"weight_g ~ {fixed}cultivar * dose_tsp"
    assert model.notes == notes
    assert model.residual == ("heads" if "bucket" in random else "buckets")


@pytest.mark.parametrize("lost", [0.2, 0.5])
def test_lost_heads_leave_the_model(lost: float) -> None:
    """Losing heads does not change the strata, only what is left in them."""
    frame = heads(4, 3).sample(frac=1 - lost, random_state=1)
    assert derive_model(frame, ["cultivar", "dose_tsp"], RCB).random[:3] == ("site", "site:block", "bucket")
