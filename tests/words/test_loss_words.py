"""What became of the heads, in words."""

from dataclasses import replace

from trialkit.documents.findings import (
    FactorLosses,
    FactorShare,
    HeadCounts,
    Interval,
    Losses,
    SiteLosses,
    TreatmentLosses,
)
from trialkit.domain.heads import LOST, SAYS_NOTHING
from trialkit.domain.treatment import Treatment
from trialkit.words.loss_words import FATES, losses_sentence, losses_warning, nothing_left_words
from trialkit.words.measures import KITCHEN

ALL = HeadCounts(planned=8, harvested=8, lost=0, not_ready=0, unrecorded=0, unmarketable=0)
LOSSES = Losses(
    heads=ALL,
    recorded=8,
    outcomes={},
    by_treatment=tuple(TreatmentLosses(Treatment(name), ALL, 1.0, None, None) for name in ("Fenleaf", "Paleheart")),
    by_site=tuple(SiteLosses(site, ALL, 1.0) for site in ("s1", "s2")),
    by_factor=(),
    design_effect=1.0,
    treatments_vary=False,
    gardens_vary=False,
    unfinished=False,
)
TRUST = (
    "The answer counts a lost head as zero. Weights of harvested heads, and days, leave it out, so never go by them "
    "alone."
)


def shares(column: str, **levels: float) -> FactorLosses:
    """Shares by level, too far apart for chance."""
    rows = tuple(FactorShare(name, 40, Interval(share, share - 0.1, share + 0.1)) for name, share in levels.items())
    return FactorLosses(column, rows, 20.0, 1, 0.0002, differ=True)


def test_nothing_lost() -> None:
    """Nothing to warn of."""
    assert losses_sentence(LOSSES) == "8 of 8 planned heads were harvested and 0 lost."
    assert losses_warning(LOSSES) == ""


def test_every_fate_is_named() -> None:
    """Those that nothing befell are left out."""
    heads = HeadCounts(planned=80, harvested=60, lost=9, not_ready=7, unrecorded=4, unmarketable=3)
    counts = "60 of 80 planned heads were harvested, 9 lost, 7 not ready at the end and 4 without a record."
    assert losses_sentence(replace(LOSSES, heads=heads)) == f"{counts} 3 of those harvested were not marketable."
    outcomes = {"harvested": 58, "not_weighed": 2, "not_ready": 7, "dead": 6, "eaten": 3, "gave_up": 3, "stolen": 1}
    assert losses_sentence(replace(LOSSES, heads=heads, outcomes=outcomes)) == (
        f"{counts} Among those lost: 6 dead and 3 eaten. Among those without a record: 1 stolen and 3 of "
        "gardeners who gave up. 2 of those harvested were not weighed, so they count as heads but tell no weight. 3 of "
        "those harvested were not marketable."
    )


def test_every_outcome_has_words() -> None:
    """Whatever a head can be lost to, or have no record for, can be said."""
    assert set(FATES) == {*LOST, *SAYS_NOTHING} - {""}


def test_levels_of_which_nothing_is_left() -> None:
    """Each is named once, with what became of it; where nothing is left of any, nothing is said."""
    dead = HeadCounts(planned=8, harvested=2, lost=3, not_ready=1, unrecorded=2, unmarketable=2)
    unknown = HeadCounts(planned=8, harvested=0, lost=0, not_ready=0, unrecorded=8, unmarketable=0)

    def treated(cultivar: str, dose: float, heads: HeadCounts) -> TreatmentLosses:
        return TreatmentLosses(Treatment(cultivar, dose), heads, None, None, None)

    lost = (treated("Fenleaf", 2.0, dead), treated("Fenleaf", 4.0, dead))
    left = (treated("Paleheart", 2.0, ALL), treated("Paleheart", 4.0, ALL))
    assert nothing_left_words(replace(LOSSES, by_treatment=left)) == ()
    assert nothing_left_words(replace(LOSSES, by_treatment=lost)) == ()
    assert nothing_left_words(replace(LOSSES, by_treatment=(*lost, *left))) == (
        "No head became marketable with Fenleaf. Among 16 planned: 6 lost, 2 not ready at the end, 4 not marketable "
        "and 4 without a record.",
    )
    silent = (treated("Fenleaf", 2.0, ALL), treated("Fenleaf", 4.0, unknown))
    assert nothing_left_words(replace(LOSSES, by_treatment=silent), KITCHEN) == (
        "No head with 4 level teaspoons has a record, of 8 planned.",
    )


def test_losses_that_go_with_a_factor() -> None:
    """The level with the fewest usable heads first."""
    warned = replace(LOSSES, by_factor=(shares("cultivar", Fenleaf=0.5, Paleheart=0.95),), treatments_vary=True)
    assert losses_warning(warned) == (
        "Losses differ by cultivar (p < 0.001). Of the recorded heads, 50 % were marketable with Fenleaf, and 95 % "
        f"with Paleheart. {TRUST}"
    )
    assert losses_sentence(warned) == f"8 of 8 planned heads were harvested and 0 lost. {losses_warning(warned)}"


def test_treatments_that_may_differ_by_chance() -> None:
    """No factor's test speaks, but the range is wide."""
    first, second = LOSSES.by_treatment
    warned = replace(LOSSES, by_treatment=(replace(first, share_usable=0.0), second), treatments_vary=True)
    assert losses_warning(warned) == (
        f"From treatment to treatment, 0 % to 100 % of the recorded heads were marketable, which may be luck. {TRUST}"
    )


def test_gardens_and_an_unfinished_trial() -> None:
    """The worst garden is named; one without a record is not the worst."""
    gardens = (SiteLosses("s1", ALL, None), SiteLosses("s2", ALL, 0.4), SiteLosses("s3", ALL, 0.9))
    said = losses_sentence(replace(LOSSES, by_site=gardens, gardens_vary=True, unfinished=True))
    assert said.endswith(
        "Gardens differ: at s2, only 40 % of the recorded heads were marketable. Many heads have no record, so the "
        "answer is that of the others alone."
    )
