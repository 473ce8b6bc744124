"""Colours: enough contrast, by the formula of WCAG 2.2."""

from __future__ import annotations

from itertools import combinations

import pytest

from trialkit.pages.palette import DARK, LIGHT, custom_properties

TEXT_ROLES = ("ink", "muted", "leaf", "clay", "plum", "teal", "ochre")
GRAPHIC_ROLES = (*TEXT_ROLES, "raw", "edge")
SURFACES = ("paper", "card", "wash", "clay-wash")


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
