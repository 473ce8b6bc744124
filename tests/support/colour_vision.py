"""How colours look to people who see two of the three primaries, and how far two colours are apart to the eye."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]

SIMULATIONS = {
    "usual": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    "protanopia": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deuteranopia": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "tritanopia": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}
"""Of linear RGB: Machado, Oliveira & Fernandes 2009, A physiologically-based model for simulation of color vision
deficiency, IEEE Trans. Vis. Comput. Graph. 15, 1291-1298, severity 1.0 (figures from memory; rows sum to one)."""
XYZ = np.array(
    ((0.4124564, 0.3575761, 0.1804375), (0.2126729, 0.7151522, 0.0721750), (0.0193339, 0.1191920, 0.9503041))
)
"""Of linear sRGB: IEC 61966-2-1, with D65."""


def linear(colour: str) -> Vector:
    """Linear RGB, 0 to 1, of a colour ``#rrggbb`` (IEC 61966-2-1)."""
    channels = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def seen(colour: str, simulation: str) -> Vector:
    """Linear RGB of a colour as somebody sees it, within what a screen can show."""
    return np.clip(np.array(SIMULATIONS[simulation]) @ linear(colour), 0.0, 1.0)


def lab(rgb: Vector) -> Vector:
    """CIE L*a*b* of linear RGB, under D65."""
    x, y, z = (
        np.cbrt(t) if t > (6 / 29) ** 3 else t / (3 * (6 / 29) ** 2) + 4 / 29 for t in XYZ @ rgb / XYZ.sum(axis=1)
    )
    return np.array((116 * y - 16, 500 * (x - y), 200 * (y - z)))


def ciede2000(first: Vector, second: Vector) -> float:
    """Difference of two colours in L*a*b*: Sharma, Wu & Dalal 2005, Color Res. Appl. 30, 21-30."""
    (light_1, a_1, b_1), (light_2, a_2, b_2) = first, second
    chroma = (np.hypot(a_1, b_1) + np.hypot(a_2, b_2)) / 2
    g = 0.5 * (1 - np.sqrt(chroma**7 / (chroma**7 + 25.0**7)))
    a_1, a_2 = (1 + g) * a_1, (1 + g) * a_2
    c_1, c_2 = np.hypot(a_1, b_1), np.hypot(a_2, b_2)
    h_1, h_2 = (np.degrees(np.arctan2(b, a)) % 360 for a, b in ((a_1, b_1), (a_2, b_2)))
    turn = h_2 - h_1
    turn -= 360 * np.sign(turn) * (abs(turn) > 180)
    hue = 2 * np.sqrt(c_1 * c_2) * np.sin(np.radians(turn / 2)) if c_1 * c_2 else 0.0
    light, c = (light_1 + light_2) / 2, (c_1 + c_2) / 2
    h = h_1 + h_2 if c_1 * c_2 == 0 else (h_1 + turn / 2) % 360
    t = sum(
        share * np.cos(np.radians(times * h + by))
        for share, times, by in ((-0.17, 1, -30), (0.24, 2, 0), (0.32, 3, 6), (-0.20, 4, -63))
    )
    s_l = 1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2)
    s_c, s_h = 1 + 0.045 * c, 1 + 0.015 * c * (1 + t)
    rotation = -np.sin(np.radians(60 * np.exp(-(((h - 275) / 25) ** 2)))) * 2 * np.sqrt(c**7 / (c**7 + 25.0**7))
    dl, dc, dh = (light_2 - light_1) / s_l, (c_2 - c_1) / s_c, hue / s_h
    return float(np.sqrt(dl**2 + dc**2 + dh**2 + rotation * dc * dh))


def distance(first: str, second: str, simulation: str) -> float:
    """How far two colours are apart, as somebody sees them."""
    return ciede2000(lab(seen(first, simulation)), lab(seen(second, simulation)))
