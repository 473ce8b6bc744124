"""Lots of each garden: another garden more or less leaves those that stand as they are."""

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from good_trial import GOOD_PROTOCOL
from trialkit.protocol.randomise import AddedGarden, added_garden, efficiency_of, randomise
from trialkit.protocol.trial_protocol import Protocol, parse_protocol
from trialkit.tables.bucket_ids import garden_bucket_ids

OF_EACH_GARDEN = {
    "complete": 'kind = "randomised complete blocks"\nkeep_apart = true',
    "without blocks": 'kind = "completely randomised"\npractice_buckets = 2',
    "split-plot": 'kind = "split-plot"\nwhole_plot = "dose"',
    "square": 'kind = "Latin square"\nblocks = 1',
}
SHARED_OUT = {
    "volunteers": 'kind = "volunteer blocks"\nblocks = 3',
    "incomplete": 'kind = "incomplete blocks"\nblock_size = 2\nblocks = 4',
    "resolvable": 'kind = "incomplete blocks"\nblock_size = 2\nblocks = 4\nresolvable = true',
    "rectangle": 'kind = "row-column"\nrows = 2\ncolumns = 3\nblocks = 2',
}
gardens = st.lists(st.text("ABCdef é-1", min_size=1, max_size=6), min_size=2, max_size=5, unique=True)


def of_kind(kind: str, lots: str = "garden", **changes: str) -> Protocol:
    """Return the protocol of the good trial with another layout."""
    text = GOOD_PROTOCOL.replace('kind = "randomised complete blocks"\nblocks = 2', f'{kind}\nlots = "{lots}"')
    for old, new in changes.items():
        text = text.replace(f'{old} = "autumn-dose"', f'{old} = "{new}"')
    return parse_protocol(text)


def named(*names: str) -> pd.DataFrame:
    """Return sites of these names."""
    return pd.DataFrame({"site": list(names)})


def of_garden(layout: pd.DataFrame, site: str) -> pd.DataFrame:
    """Return the rows of a garden."""
    return layout[layout["site"] == site].reset_index(drop=True)


@pytest.mark.parametrize("kind", OF_EACH_GARDEN.values(), ids=OF_EACH_GARDEN)
@given(names=gardens, data=st.data())
def test_another_garden_more_or_less_leaves_the_others(kind: str, names: list[str], data: st.DataObject) -> None:
    """Gardens left out, added or in another order: buckets, places and treatments of those that stay are the same."""
    protocol, whole = of_kind(kind), randomise(of_kind(kind), named(*names))
    some = data.draw(st.lists(st.sampled_from(names), min_size=1, unique=True))
    part = randomise(protocol, named(*some))
    assert set(part["site"]) == set(some)
    for site in some:
        pd.testing.assert_frame_equal(of_garden(part, site), of_garden(whole, site))
    left = next((name for name in names if name not in some), None)
    if left is not None:
        joined = added_garden(protocol, part, AddedGarden(left, protocol.layout.blocks))
        pd.testing.assert_frame_equal(joined.reset_index(drop=True), of_garden(whole, left))


def test_the_lots_of_a_garden_never_change() -> None:
    """Labels are printed from them: a later version must draw the same (pinned from the first that drew by garden)."""
    rows = randomise(of_kind('kind = "randomised complete blocks"\nblocks = 2'), named("FERN"))
    assert rows["bucket"].tolist()[:4] == ["TXC634C", "TXC6367", "TXC6374", "TXC639Y"]
    assert rows["cultivar"].tolist()[:4] == ["NA", "NA", "Larkmoor Butter", "Larkmoor Butter"]
    assert rows["dose_tsp"].tolist() == [2, 4, 4, 2, 2, 2, 4, 4]


@pytest.mark.parametrize("kind", SHARED_OUT.values(), ids=SHARED_OUT)
def test_a_garden_that_joins_is_chosen_beside_those_that_stand(kind: str) -> None:
    """Where gardens share treatments out, one that joins tells about as much as if all had been laid out together."""
    protocol = of_kind(kind)
    standing = randomise(protocol, named("A", "B"))
    rows = added_garden(protocol, standing, AddedGarden("C", protocol.layout.blocks))
    again = added_garden(protocol, standing.sample(frac=1, random_state=1), AddedGarden("C", protocol.layout.blocks))
    pd.testing.assert_frame_equal(rows, again)
    found = efficiency_of(protocol, pd.concat([standing, rows], ignore_index=True))
    together = efficiency_of(protocol, randomise(protocol, named("A", "B", "C")))
    assert found.average_factor > 0.97 * together.average_factor
    kinds = {warning.code for warning in found.warnings}
    assert "disconnected" not in kinds


def test_a_garden_that_joins_mends_what_stands() -> None:
    """Blocks that never compare two halves of the treatments: the garden that joins is given those that do."""
    protocol = of_kind('kind = "incomplete blocks"\nblock_size = 2\nblocks = 4')
    standing = randomise(protocol, named("A"))
    treatments = protocol.treatments()
    order = [0, 1, 0, 1, 2, 3, 2, 3]
    for column in treatments:
        standing[column] = treatments[column].iloc[order].to_numpy()
    assert efficiency_of(protocol, standing).average_factor == 0
    rows = added_garden(protocol, standing, AddedGarden("B", 4))
    number = {tuple(row): place for place, row in enumerate(treatments.itertuples(index=False, name=None))}
    blocks = [
        {number[tuple(row)] for row in block[list(treatments)].itertuples(index=False, name=None)}
        for _, block in rows.groupby("block")
    ]
    assert all(len(block & {0, 1}) == 1 for block in blocks)


@pytest.mark.parametrize("kind", SHARED_OUT.values(), ids=SHARED_OUT)
def test_each_treatment_is_as_likely_anywhere_in_a_garden_that_joins(kind: str) -> None:
    """Over many gardens each treatment comes to stand in the first place about equally often."""
    protocol = of_kind(kind)
    standing = randomise(protocol, named("A", "B"))
    firsts = pd.concat([added_garden(protocol, standing, AddedGarden(f"C{i}", 2)).iloc[:1] for i in range(120)])
    counts = firsts.groupby(["cultivar", "dose_tsp"]).size()
    assert len(counts) == 4
    assert (abs(counts - 30) < 20).all()


def test_a_garden_joins_with_blocks_of_its_own() -> None:
    """More or fewer than the others, in a trial whose lots were drawn for all gardens, too."""
    for lots in ("garden", "trial"):
        protocol = of_kind('kind = "randomised complete blocks"\nblocks = 2', lots)
        standing = randomise(protocol, named("A", "B"))
        rows = added_garden(protocol, standing, AddedGarden("C", 1))
        assert rows.groupby(["cultivar", "dose_tsp"]).size().tolist() == [1] * 4
        assert not set(rows["bucket"]) & set(standing["bucket"])


def test_a_garden_with_one_augmented_block_is_laid_out() -> None:
    """Two blocks are needed in all, not in each garden."""
    text = GOOD_PROTOCOL.replace('kind = "randomised complete blocks"\nblocks = 2',
                                 'kind = "augmented blocks"\nblocks = 1\nlots = "garden"')  # fmt: skip
    text = text.replace("levels = [2, 4]", "levels = [4]").replace(", dose = 4", "")
    text = text.replace('["Larkmoor Butter", "NA"]', '["Larkmoor Butter", "NA", "Fenleaf"]')
    assert len(randomise(parse_protocol(text), named("A", "B"))) == 6
    with pytest.raises(ValueError, match="at least two blocks"):
        randomise(parse_protocol(text), named("A"))


def test_no_two_trials_share_labels() -> None:
    """Trials of another id or seed have other labels in the same gardens, and other lots."""
    kind = 'kind = "randomised complete blocks"\nblocks = 2'
    names = [f"garden {i}" for i in range(8)]
    one, other = (randomise(of_kind(kind, id=name), named(*names)) for name in ("spring", "summer"))
    assert not set(one["bucket"]) & set(other["bucket"])
    assert one["dose_tsp"].tolist() != other["dose_tsp"].tolist()
    seeded = GOOD_PROTOCOL.replace("seed = 20260820", 'seed = 7\nlots = "garden"')
    third = randomise(parse_protocol(seeded), named(*names))
    assert not set(third["bucket"]) & {*one["bucket"], *other["bucket"]}


def test_gardens_that_would_share_labels_are_refused() -> None:
    """Of very many gardens two names lead to the same labels: that is told, with what to do."""
    protocol = of_kind('kind = "randomised complete blocks"\nblocks = 2')
    key = f"{protocol.seed} {protocol.trial.id} "
    seen: dict[str, str] = {}
    for number in range(20_000):
        first = garden_bucket_ids(f"{key}g{number}", 1)[0]
        if first in seen:
            break
        seen[first] = f"g{number}"
    with pytest.raises(ValueError, match=f"Buckets of g{number} would get labels of another garden"):
        added_garden(protocol, randomise(protocol, named(seen[first])), AddedGarden(f"g{number}", 2))
    with pytest.raises(ValueError, match="another short name"):
        randomise(protocol, named(seen[first], f"g{number}"))
