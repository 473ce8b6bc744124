"""The measure of how easily Spanish is read."""

from __future__ import annotations

import pytest

from spanish_reading import WORD, perspicuity, syllables
from trialkit.languages import catalogue

COUNTED = {
    1: "y yo muy buey luz rey",
    2: "balde agua país leer queso hoja cuarto luces raíz ciudad viuda ruido playa oír creed ahumar huerto",
    3: "línea siguiente guitarra pingüino oído lechuga variedad vacíe ahijado ahora construido prohibirlo",
    4: "aéreo averiguáis europeo vehículo cucharada cooperar",
    5: "zoológico cucharadita alcalinidad",
}
"""Words by syllables, divided by hand after the Ortografía of the Real Academia (2010): a close vowel beside an open
one shares its syllable, whether h stands between or not; two open ones never do, nor a close one with the accent."""


@pytest.mark.parametrize("number", COUNTED)
def test_syllables_are_those_of_spelling(number: int) -> None:
    """Diphthongs, hiatus, silent u and h."""
    assert {word: syllables(word) for word in COUNTED[number].split()} == dict.fromkeys(COUNTED[number].split(), number)


def test_words_have_no_fewer_syllables_than_a_typesetter_parts_them_into() -> None:
    """An independent count from below: hyphens of pyphen's Spanish patterns, for every word of the catalogue."""
    parted = pytest.importorskip("pyphen").Pyphen(lang="es")
    texts = [message.string for message in catalogue("es") if message.id]
    words = {
        word for text in texts for part in ([text] if isinstance(text, str) else text) for word in WORD.findall(part)
    }
    assert len(words) > 10
    spoken = sorted(words - {"cdta", "cdtas"})  # said as the words that they shorten
    assert [word for word in spoken if syllables(word) <= len(parted.positions(word))] == []


def test_perspicuity_by_hand() -> None:
    """Lle-ne el bal-de has-ta la lí-ne-a: 6 words of 11 syllables; Mi-da el a-gua: 3 of 5. 25 is neither."""
    told = perspicuity(["Llene el balde hasta la línea.", "Mida el agua.", "25"])
    assert told == pytest.approx(206.835 - 62.3 * (11 + 5) / (6 + 3) - (6 + 3) / 2)
