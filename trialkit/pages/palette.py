"""Colours by their role, light and dark: the one place where a colour is written down.

The page gets them as CSS custom properties; the figures are drawn in the light colours and then carry only the roles'
names, so that they follow the page into the dark.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

LIGHT: Mapping[str, str] = MappingProxyType(
    {
        "paper": "#f3f5ec",
        "card": "#ffffff",
        "wash": "#eaf3d9",  # behind what is recommended
        "clay-wash": "#fbeae1",  # behind what wants attention
        "band": "#12372a",
        "on-band": "#f4f8ea",
        "lime": "#cbe36d",  # on the band only
        "ink": "#16211b",
        "muted": "#4a584f",
        "rule": "#d5dccb",
        "edge": "#76836f",
        "raw": "#7d8b80",
        "leaf": "#1d6a3a",
        "clay": "#a03c14",
        "plum": "#6d3a8a",
        "teal": "#0a6572",
        "ochre": "#7a5600",
    }
)

DARK: Mapping[str, str] = MappingProxyType(
    {
        "paper": "#101612",
        "card": "#18211b",
        "wash": "#1e3524",
        "clay-wash": "#3a251b",
        "band": "#12382c",
        "on-band": "#eef5e2",
        "lime": "#cbe36d",
        "ink": "#e9f0e6",
        "muted": "#b0bdb2",
        "rule": "#334038",
        "edge": "#7f8f83",
        "raw": "#84948a",
        "leaf": "#86d69a",
        "clay": "#f2a685",
        "plum": "#d6aef0",
        "teal": "#76ced8",
        "ochre": "#e3c16a",
    }
)


def custom_properties() -> str:
    """Both palettes as CSS: light by default, dark where the reader asks for it, light again on paper."""
    light, dark = _declarations(LIGHT), _declarations(DARK)
    return (
        f":root{{color-scheme:light dark;{light}}}\n"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}\n"
        + "".join(f".f-{role}{{fill:var(--{role})}}.s-{role}{{stroke:var(--{role})}}\n" for role in LIGHT)
    )


def _declarations(colours: Mapping[str, str]) -> str:
    return "".join(f"--{role}:{colour};" for role, colour in colours.items())
