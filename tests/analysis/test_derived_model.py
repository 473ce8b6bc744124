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


def test_several_sites() -> None:
    """From three gardens up, gardens and their effects are random, with blocks and buckets."""
    model = derive_model(heads(4, 3), ["cultivar", "dose_tsp"], RCB)
    assert model.random == ("site", "site:block", "bucket", "site:cultivar", "site:dose_tsp")
    assert model.formula("weight_g") == "weight_g ~ cultivar * dose_tsp"
    assert model.notes == ()


def test_one_site() -> None:
    """In one garden only blocks and buckets are random."""
    model = derive_model(heads(1, 4), ["cultivar", "dose_tsp"], RCB)
    assert model.random == ("site:block", "bucket")


def test_two_sites_are_fixed() -> None:
    """Two gardens are too few to stand for others: they enter as fixed, and that is said."""
    model = derive_model(heads(2, 3), ["cultivar", "dose_tsp"], RCB)
    assert model.random == ("site:block", "bucket")
    assert model.formula("weight_g") == "weight_g ~ site + cultivar * dose_tsp"
    assert model.notes == (Note("few_levels", count=2, term="site"),)


def test_two_blocks_in_one_garden_are_fixed() -> None:
    """Two blocks are too few to estimate a variance from."""
    model = derive_model(heads(1, 2), ["cultivar", "dose_tsp"], RCB)
    assert model.random == ("bucket",)
    assert model.formula("weight_g").startswith("weight_g ~ block +")


def test_one_head_a_bucket() -> None:
    """With one head in each bucket, the bucket is the residual."""
    model = derive_model(heads(3, 3, 1), ["cultivar", "dose_tsp"], RCB)
    assert "bucket" not in model.random
    assert model.residual == "buckets"


def test_split_plot() -> None:
    """A split-plot adds its whole plots."""
    model = derive_model(heads(1, 6, 1), ["cultivar", "dose_tsp"], SPLIT)
    assert model.random == ("site:block", "site:block:whole_plot")


def test_one_block_a_garden() -> None:
    """With one block in each garden, block and garden are the same grouping and one term stands for both."""
    model = derive_model(heads(4, 1), ["cultivar", "dose_tsp"], RCB)
    assert "site:block" not in model.random
    assert "site" in model.random


@pytest.mark.parametrize("lost", [0.2, 0.5])
def test_lost_heads_leave_the_model(lost: float) -> None:
    """Losing heads does not change the strata, only what is left in them."""
    frame = heads(4, 3).sample(frac=1 - lost, random_state=1)
    assert derive_model(frame, ["cultivar", "dose_tsp"], RCB).random[:3] == ("site", "site:block", "bucket")
