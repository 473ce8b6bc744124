"""A bucket cut open, drawn by code: cup, air gap, water at the start and at harvest, roots."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from html import escape

from trialkit.words.care_words import DrawingLabels

WIDTH, HEIGHT, LETTERS, LINE = 420, 300, 16, 18
LEFT, RIGHT = 128, 292
"""Where the labels of either side end and begin."""
RIM, FOOT, LID, START, HARVEST = 88, 284, 80, 116, 222
"""Heights, some five units a centimetre: a gap of 6 cm, 3 of the 9 cm of a cup wet, a third of the water left."""


def cross_section(labels: DrawingLabels, colours: Mapping[str, str] | None = None) -> str:
    """Draw it as an ``svg`` element.

    Parameters
    ----------
    labels : DrawingLabels
    colours : mapping, optional
        By their roles, for a page that prints without a style sheet for drawings; without them the drawing carries the
        classes of the pages' style sheet, and follows it into the dark.
    """

    def fill(role: str) -> str:
        return f'fill="{colours[role]}"' if colours else f'class="f-{role}"'

    def stroke(role: str) -> str:
        return f'fill="none" stroke="{colours[role]}"' if colours else f'fill="none" class="s-{role}"'

    def side(level: float) -> tuple[float, float]:
        """Return where the bucket's wall is at a height."""
        lean = 8 * (level - RIM) / (FOOT - RIM)
        return 138 + lean, 282 - lean

    def note(lines: tuple[str, ...], x: float, middle: float, to: float, level: float) -> Iterator[str]:
        anchor, edge = ("end", x + 3) if x < WIDTH / 2 else ("start", x - 3)
        first = middle - (len(lines) - 1) * LINE / 2 + LETTERS / 3
        for place, line in enumerate(lines):
            yield (
                f'<text {fill("ink")} x="{x}" y="{first + place * LINE:.1f}" text-anchor="{anchor}" '
                f'font-size="{LETTERS}">{escape(line)}</text>'
            )
        yield f'<path {stroke("muted")} stroke-width="1" d="M{edge} {middle}L{to} {level}"/>'

    def parts() -> Iterator[str]:
        (left, right), (low_left, low_right) = side(START), side(HARVEST)
        foot_left, foot_right = side(FOOT)
        water = f"M{left:.1f} {START}H{right:.1f}L{low_right:.1f} {HARVEST}H{low_left:.1f}z"
        yield f'<path {fill("teal")} fill-opacity=".12" d="{water}"/>'
        rest = f"M{low_left:.1f} {HARVEST}H{low_right:.1f}L{foot_right} {FOOT}H{foot_left}z"
        yield f'<path {fill("teal")} fill-opacity=".3" d="{rest}"/>'
        for shift in (-14, -5, 5, 14):
            root = f"M{210 + shift / 2} 128Q{210 + shift * 1.6} 180 {210 + shift} 262"
            yield f'<path {stroke("raw")} stroke-width="1.6" d="{root}"/>'
        yield f'<path {stroke("ink")} stroke-width="3" d="M138 {RIM}L{foot_left} {FOOT}H{foot_right}L282 {RIM}"/>'
        yield f'<path {fill("edge")} d="M132 {LID}H288V{RIM}H132z"/>'
        yield f'<path {fill("card")} d="M192 {LID}H228L222 131H198z"/>'
        yield f'<path {stroke("ink")} stroke-width="2" stroke-dasharray="5 3" d="M192 {LID}L198 131H222L228 {LID}"/>'
        yield (
            f'<path {fill("leaf")} d="M210 {LID}C170 {LID} 158 52 172 34C176 18 196 12 210 22C224 12 244 18 248 34'
            f'C262 52 250 {LID} 210 {LID}z"/>'
        )
        yield f'<path {stroke("teal")} stroke-width="2.5" d="M{left:.1f} {START}H{right:.1f}"/>'
        dashed = f"M{low_left:.1f} {HARVEST}H{low_right:.1f}"
        yield f'<path {stroke("teal")} stroke-width="2.5" stroke-dasharray="8 5" d="{dashed}"/>'
        gap = f"M160 {RIM + 2}V{START - 2}M156 {RIM + 2}H164M156 {START - 2}H164"
        yield f'<path {stroke("ink")} stroke-width="1.5" d="{gap}"/>'
        yield from note(labels.lid, LEFT, 56, 150, LID)
        yield from note(labels.gap, LEFT, 112, 158, 102)
        yield from note(labels.air_roots, LEFT, 182, 203, 176)
        yield from note(labels.roots, LEFT, 252, 202, 248)
        yield from note(labels.cup, RIGHT, 62, 226, 96)
        yield from note(labels.start, RIGHT, 136, right, START)
        yield from note(labels.harvest, RIGHT, 206, low_right, HARVEST)
        yield from note(labels.bucket, RIGHT, 264, side(262)[1], 262)

    return (
        f'<svg class="cross-section" viewBox="0 0 {WIDTH} {HEIGHT}" role="img">'
        f"<title>{escape(labels.alternative)}</title>{''.join(parts())}</svg>"
    )
