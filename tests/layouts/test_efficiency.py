"""What a layout reports of itself: strata of textbook layouts, and warnings that can be acted on."""

from itertools import product

import pandas as pd
import pytest

from seeded import rng
from trialkit.layouts.efficiency import LayoutEfficiency, connected_groups, layout_efficiency
from trialkit.layouts.kinds import LAYOUT_KINDS, lay_out
from trialkit.layouts.layout_options import PLAIN, LayoutOptions
from trialkit.words.layout_words import warning_sentence


def report(
    kind: str, treatments: pd.DataFrame, blocks: int, sites: int = 1, options: LayoutOptions = PLAIN
) -> LayoutEfficiency:
    """Lay out and report."""
    layout = lay_out(kind, treatments, [f"s{i}" for i in range(sites)], blocks, rng(1), options)
    return layout_efficiency(layout, list(treatments.columns), LAYOUT_KINDS[kind].random_terms)


def degrees(found: LayoutEfficiency) -> list[tuple[str, int, int, int]]:
    """Return total, treatment and error degrees of freedom by stratum."""
    return [(s.term, s.total, s.treatments, s.error) for s in found.strata]


def sentences(found: LayoutEfficiency) -> str:
    """Return all warnings as one text."""
    return " ".join(map(warning_sentence, found.warnings))


def falls_apart(found: LayoutEfficiency) -> bool:
    """Tell whether it is warned that not all treatments can be compared."""
    return "disconnected" in {warning.code for warning in found.warnings}


ONE = pd.DataFrame({"cultivar": list("ABCDEF")})
TWO = pd.DataFrame(list(product("ABC", [0.0, 2, 4, 6])), columns=["cultivar", "dose_tsp"])


def test_complete_blocks() -> None:
    """Six cultivars in four blocks: 3, 5 and 15 degrees of freedom (Fisher 1935)."""
    found = report("randomised complete blocks", ONE, 4)
    assert degrees(found) == [("site:block", 3, 0, 3), ("bucket", 20, 5, 15)]
    assert found.average_factor == pytest.approx(1)


def test_a_split_plot_has_the_strata_of_the_oats_trial() -> None:
    """Six blocks, 3 varieties, 4 doses: errors of 10 and 45 degrees of freedom (Yates 1935)."""
    found = report("split-plot", TWO, 6, options=LayoutOptions(whole_plot="cultivar"))
    assert degrees(found) == [("site:block", 5, 0, 5), ("site:block:whole_plot", 12, 2, 10), ("bucket", 54, 9, 45)]
    by_name = {effect.effect: effect for effect in found.effects}
    assert (by_name["cultivar"].stratum, by_name["cultivar"].error) == ("site:block:whole_plot", 10)
    assert (by_name["dose_tsp"].stratum, by_name["dose_tsp"].error) == ("bucket", 45)
    assert not falls_apart(found), "whole plots are an error to judge by, not a nuisance"
    assert "The effect of cultivar is mixed up with whole plots." in sentences(found)
    assert "10 degrees of freedom" in sentences(found)


@pytest.mark.parametrize(("order", "error"), [(4, 6), (5, 12)])
def test_latin_squares_have_their_error(order: int, error: int) -> None:
    """A square of order n leaves (n - 1)(n - 2) degrees of freedom for error: 6 of order 4, 12 of order 5."""
    found = report("Latin square", ONE.iloc[:order], 1)
    assert degrees(found)[-1] == ("bucket", (order - 1) ** 2, order - 1, error)
    assert ("few error degrees of freedom" in {w.code for w in found.warnings}) == (error < 12)


def test_balanced_blocks_have_recoverable_information_between_blocks() -> None:
    """Ten blocks of three from six: E = 0.8 within blocks (Cochran & Cox 1957), the rest between them."""
    found = report("incomplete blocks", ONE, 10, options=LayoutOptions(block_size=3))
    assert found.average_factor == pytest.approx(0.8)
    (effect,) = found.effects
    assert effect.shares == pytest.approx({"site:block": 0.2, "bucket": 0.8})
    assert degrees(found) == [("site:block", 9, 5, 4), ("bucket", 20, 5, 15)]


def test_volunteers_of_three_buckets() -> None:
    """Twenty-four volunteers with three of six cultivars each, at four gardens: over 79.9 % of complete blocks."""
    found = report("volunteer blocks", ONE, 6, 4, LayoutOptions(block_size=3))
    assert 0.799 <= found.average_factor <= 0.8
    assert degrees(found)[-1] == ("bucket", 48, 5, 43)


def test_a_confounded_interaction_is_named() -> None:
    """A 2 x 2 x 2 in blocks of four, the triple interaction given to blocks: it is named, nothing else is."""
    runs = pd.DataFrame(list(product([0, 1], repeat=3)), columns=["n", "p", "k"])
    frames = [
        runs.assign(site="a", block=2 * repeat + (runs.sum(axis=1) % 2)) for repeat in range(3)
    ]  # fmt: skip
    found = layout_efficiency(pd.concat(frames, ignore_index=True), ["n", "p", "k"], ["site:block"])
    confounded = [warning_sentence(w) for w in found.warnings if w.code == "confounded"]
    assert len(confounded) == 1
    assert "n by p by k is mixed up with blocks." in confounded[0]
    assert falls_apart(found), "treatments of the two halves differ by the interaction"
    assert {e.effect: e.stratum for e in found.effects}["n:p:k"] == "site:block"
    assert degrees(found)[-1] == ("bucket", 18, 6, 12)  # as in the classical analysis (Yates 1937)


def test_an_aliased_effect_is_named() -> None:
    """In half of a 2 x 2 x 2 each main effect cannot be told from the interaction of the other two."""
    runs = pd.DataFrame(list(product([0, 1], repeat=3)), columns=["n", "p", "k"])
    half = pd.concat([runs[runs.sum(axis=1) % 2 == 0]] * 3, ignore_index=True).assign(site="a")
    found = layout_efficiency(half, ["n", "p", "k"], [])
    aliased = {effect.effect: effect.aliased_with for effect in found.effects}
    assert aliased["n"] == ("p:k",)
    assert aliased["n:p"] == ("k",)
    assert "cannot tell the effect of n from that of p by k" in sentences(found)
    assert "Combinations of levels are missing, so the effect of n by p by k cannot be estimated." in sentences(found)


def test_two_factors_that_always_go_together() -> None:
    """A cultivar always grown at its own dose: each effect is named as the other's alias."""
    layout = pd.DataFrame({"site": "a", "cultivar": list("AABB"), "dose_tsp": [2, 2, 4, 4]})
    found = layout_efficiency(layout, ["cultivar", "dose_tsp"], [])
    assert "cannot tell the effect of cultivar from that of dose" in sentences(found)


def test_one_site_no_error_and_no_replication_are_warned_of() -> None:
    """One garden; nothing left for error; each treatment once: each warning says what alone would help."""
    found = report("randomised complete blocks", ONE, 1)
    assert {"one site", "no replication", "cannot be tested"} <= {warning.code for warning in found.warnings}
    helps = (". Only more ", ". Add gardens ")
    assert all(any(one in warning_sentence(warning) for one in helps) for warning in found.warnings)
    assert "one site" not in {w.code for w in report("randomised complete blocks", ONE, 1, 2).warnings}


def test_a_good_layout_has_no_warning() -> None:
    """Four gardens, three blocks: nothing to warn of."""
    assert report("randomised complete blocks", ONE, 3, 4).warnings == ()


def test_effects_that_differ_between_gardens_are_judged_by_how_much() -> None:
    """Four gardens, three cultivars, four doses: 6, 9 and, for their interaction, the buckets' degrees of freedom."""
    layout = lay_out("randomised complete blocks", TWO, list("abcd"), 3, rng(1))
    found = layout_efficiency(layout, ["cultivar", "dose_tsp"], ["site:block"], effects_differ=True)
    assert degrees(found) == [
        ("site", 3, 0, 3),
        ("site:block", 8, 0, 8),
        ("site:cultivar", 8, 2, 6),
        ("site:dose_tsp", 12, 3, 9),
        ("bucket", 112, 6, 106),
    ]
    assert [(e.effect, e.error) for e in found.effects] == [
        ("cultivar", 6),
        ("dose_tsp", 9),
        ("cultivar:dose_tsp", 106),
    ]
    assert {w.code for w in found.warnings} == {"few error degrees of freedom"}
    assert "cultivar is judged by how much it differs between gardens, with 6 degrees of freedom" in sentences(found)
    assert found.average_factor == pytest.approx(1)


def test_a_layout_that_falls_apart_is_warned_of() -> None:
    """Blocks that share no treatment with others are named by what they hold."""
    layout = pd.DataFrame({"site": "a", "block": [1, 1, 2, 2, 3, 3, 4, 4], "cultivar": list("ABCDABCD")})
    found = layout_efficiency(layout, ["cultivar"], ["site:block"])
    assert falls_apart(found)
    assert "falls into 2 groups of treatments that no block compares: A, B; C, D" in sentences(found)
    assert connected_groups(layout, ["cultivar"], ["site:block"]) == ((("A",), ("B",)), (("C",), ("D",)))
    assert found.average_factor == 0


def test_one_treatment_has_nothing_to_compare() -> None:
    """A single treatment is refused."""
    with pytest.raises(ValueError, match="nothing to compare"):
        layout_efficiency(pd.DataFrame({"site": ["a"], "cultivar": ["A"]}), ["cultivar"], [])


def test_one_volunteer_a_garden_is_judged_by_buckets() -> None:
    """Where no garden has a cultivar twice, its difference between gardens is the buckets'; more blocks would help."""
    cultivars = [["A", "B", "C"], ["A", "D", "E"], ["B", "D", "F"], ["C", "E", "F"]] * 2
    rows = [(f"s{i}", 1, c) for i, three in enumerate(cultivars) for c in three]
    layout = pd.DataFrame(rows, columns=["site", "volunteer", "cultivar"])
    found = layout_efficiency(layout, ["cultivar"], ["site:volunteer"], effects_differ=True)
    assert not any(warning.between_sites for warning in found.warnings)
    assert found.effects[0].error == 24 - 8 - 5
