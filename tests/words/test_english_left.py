"""The look for English that is left on a page in another language finds it, and only it."""

from __future__ import annotations

import pytest

from english_left import english_in, english_left

PAGE = """<!DOCTYPE html><html lang="es-US"><head><title>{title}</title><style>.the{{}}</style></head>
<body aria-label="{label}"><p>Llene el balde <i lang="en">The Handbook of Lettuce</i> con agua.</p><br>
<p>{text}</p><script>say("the bucket")</script></body></html>"""


@pytest.mark.parametrize(
    ("place", "text"),
    [
        ("title", "The garden"),
        ("label", "QR code of 3X"),
        ("text", "Llene the balde"),
        ("text", "no nutrient"),  # a message that Spanish says otherwise, of no word that is English alone
        ("text", "Fern & bucket"),
    ],
)
def test_english_is_found_wherever_it_stands(place: str, text: str) -> None:
    """In the title, in what is read aloud, among Spanish words; by words or as a message that has a translation."""
    parts = {"title": "Huerto", "label": "Huerto", "text": "Huerto"} | {place: text.replace("&", "&amp;")}
    assert english_left(PAGE.format_map(parts), ["Fern"]) == [text]


def test_what_is_not_read_and_names_are_left_alone() -> None:
    """Style, script, what is declared as English, and what the trial itself calls things."""
    page = PAGE.format(title="Huerto", label="The Old Garden", text="3 × Bucket of Gold, sin ácido")
    assert english_left(page, ["The Old Garden", "Bucket of Gold"]) == []
    assert english_in(["harvest", "cosecha"], []) == ["harvest"]
