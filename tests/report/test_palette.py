"""Colours: enough contrast, by the formula of WCAG 2.2, and told apart by people who see two primaries of three."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from colour_vision import SIMULATIONS, ciede2000, distance, lab, seen
from trialkit.pages.palette import DARK, LIGHT, custom_properties
from trialkit.report.figures.check_pictures import INSIDE, OUTSIDE
from trialkit.report.figures.interval_rows import WASHES
from trialkit.report.figures.marks import PARTS, RAW_BUCKET, RAW_MEAN, Mark
from trialkit.report.figures.power_curves import LINES
from trialkit.report.figures.value_against_cost import ASKED, EFFICIENT, OTHER, PROPOSED
from trialkit.report.reading import PART_WORDS

TEXT_ROLES = ("ink", "muted", "leaf", "clay", "plum", "teal", "ochre")
GRAPHIC_ROLES = (*TEXT_ROLES, "raw", "edge")
SURFACES = ("paper", "card", "wash", "clay-wash")


LEAST_APART = 10.0
"""CIEDE2000 from which small marks of one shape are told apart at a glance (common practice, no source)."""
OF_TRIALS = [mark for part, mark in PARTS.items() if part != "recorded"]
TOGETHER = {
    "treatments": [*OF_TRIALS, RAW_MEAN, RAW_BUCKET, Mark("o", "plum", True, 4)],  # plum: the buckets pointed at
    "evidence": [*PARTS.values()],
    "designs": [ASKED, PROPOSED, EFFICIENT, OTHER],
    "residuals": [INSIDE, OUTSIDE],
}
"""Marks that stand in one picture."""


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colours, from 1 to 21.

    Web Content Accessibility Guidelines 2.2, definitions of "contrast ratio" and "relative luminance".

    Colours are ``#rrggbb``.
    """
    light, dark = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize(
    ("first", "second", "ratio"),
    [
        ("#000000", "#ffffff", 21.0),
        ("#767676", "#ffffff", 4.542),
        ("#777777", "#ffffff", 4.478),
        ("#0072b2", "#ffffff", 5.19),
        ("#d55e00", "#ffffff", 3.87),
        ("#009e73", "#ffffff", 3.42),
        ("#cc79a7", "#ffffff", 3.06),
        ("#e69f00", "#ffffff", 2.25),
        ("#56b4e9", "#ffffff", 2.31),
    ],
)
def test_contrast_agrees_with_known_ratios(first: str, second: str, ratio: float) -> None:
    """The formula gives the ratios computed from WCAG 2.2's definition of relative luminance (known to 0.01)."""
    assert ratio == pytest.approx(contrast(first, second), abs=0.01)
    assert contrast(first, second) == contrast(second, first)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("surface", SURFACES)
def test_text_can_be_read_on_every_surface(palette: dict[str, str], surface: str) -> None:
    """Text has 4.5 to 1 (WCAG 2.2, 1.4.3) on every ground it may stand on."""
    low = {role: contrast(palette[role], palette[surface]) for role in TEXT_ROLES}
    assert not {role: ratio for role, ratio in low.items() if ratio < 4.5}


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("surface", ["card", "paper", "wash", "clay-wash"])
def test_marks_can_be_seen_on_the_card(palette: dict[str, str], surface: str) -> None:
    """Parts of graphics that carry meaning have 3 to 1 (WCAG 2.2, 1.4.11)."""
    low = {role: contrast(palette[role], palette[surface]) for role in GRAPHIC_ROLES}
    assert not {role: ratio for role, ratio in low.items() if ratio < 3}


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_the_masthead_can_be_read(palette: dict[str, str]) -> None:
    """Text on the band has 4.5 to 1 in both of its colours."""
    assert min(contrast(palette[role], palette["band"]) for role in ("on-band", "lime")) >= 4.5


def test_both_palettes_have_the_same_roles_and_no_two_roles_share_a_light_colour() -> None:
    """Figures are drawn in light colours and mapped back to roles: the map must be one to one."""
    assert list(LIGHT) == list(DARK)
    assert all(LIGHT[a] != LIGHT[b] for a, b in combinations(LIGHT, 2))
    assert all(f".f-{role}" in custom_properties() for role in LIGHT)


@pytest.mark.parametrize(
    ("first", "second", "apart"),
    [
        ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
        ((50.0, 2.5, 0.0), (50.0, 0.0, -2.5), 4.3065),
        ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
        ((50.0, -0.001, 2.49), (50.0, 0.0011, -2.49), 4.7461),
        ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
        ((22.7233, 20.0904, -46.6940), (23.0331, 14.9730, -42.5619), 2.0373),
        ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
    ],
)
def test_differences_of_colours_agree_with_the_published_ones(
    first: tuple[float, ...], second: tuple[float, ...], apart: float
) -> None:
    """Sharma, Wu & Dalal 2005, Table 1 (figures from memory), to the four places that it has."""
    assert ciede2000(np.array(first), np.array(second)) == pytest.approx(apart, abs=5e-5)
    assert ciede2000(np.array(second), np.array(first)) == pytest.approx(apart, abs=5e-5)


@pytest.mark.parametrize("simulation", SIMULATIONS)
def test_greys_look_the_same_to_everybody(simulation: str) -> None:
    """By definition of the simulation, white stays white; and red and green come together where they should."""
    for grey in ("#000000", "#808080", "#ffffff"):
        assert lab(seen(grey, simulation)) == pytest.approx(lab(seen(grey, "usual")), abs=0.01)
    mixed_up = distance("#c01010", "#406000", simulation) < distance("#c01010", "#406000", "usual") / 2
    assert mixed_up == (simulation in ("protanopia", "deuteranopia"))


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("picture", TOGETHER)
def test_marks_of_a_picture_are_told_apart_by_everybody(palette: dict[str, str], picture: str) -> None:
    """By their shape, or by whether they are filled; those alike in both, by a colour that is far enough for all."""
    for first, second in combinations(TOGETHER[picture], 2):
        if (first.shape, first.is_filled) != (second.shape, second.is_filled):
            continue
        apart = {one: distance(palette[first.role], palette[second.role], one) for one in SIMULATIONS}
        assert min(apart.values()) >= LEAST_APART, (first, second, apart)


def test_lines_of_a_picture_have_dashes_of_their_own() -> None:
    """Leaf and teal are one to those who lack blue."""
    assert len({str(dashes) for _, dashes, _ in LINES}) == len(LINES)


def test_rows_on_a_ground_say_why() -> None:
    """Two grounds look alike to many: each row on one has words for it, and a mark that no other ground has."""
    assert all(PART_WORDS[part] for part in WASHES)
    shapes = {ground: {PARTS[part].shape + str(PARTS[part].is_filled) for part, one in WASHES.items() if one == ground}
              for ground in WASHES.values()}  # fmt: skip
    assert not set.intersection(*shapes.values())


@pytest.mark.parametrize("simulation", SIMULATIONS)
@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_every_mark_is_seen_on_its_ground_by_everybody(palette: dict[str, str], simulation: str) -> None:
    """Twice as far from the card, and from the ground of a row, as marks must be from each other."""
    roles = {mark.role for marks in TOGETHER.values() for mark in marks}
    for surface in ("card", "wash", "clay-wash"):
        near = {role: distance(palette[role], palette[surface], simulation) for role in roles}
        assert min(near.values()) >= 2 * LEAST_APART, (surface, near)
