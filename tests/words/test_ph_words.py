"""One window, one name for alkalinity, and cautions that go with what is refused."""

import re
from pathlib import Path

from trialkit.domain.ph_window import WINDOW_PH
from trialkit.words import handout_words, ph_words

SOURCES = Path(__file__).parents[2] / "trialkit"
DOCSTRING = re.compile('"""' + ".*?" + '"""', re.S)


def test_nobody_writes_the_window_by_hand() -> None:
    """No sentence or template has a pH, or a range of it, of its own: they come from the one constant."""
    typed = re.compile(r"\bpH \d|5\.5 (?:to|and) 6|more than 6|\b6\.5\b")
    assert typed.search("ask us if it shows more than 6.5")
    files = [*(SOURCES / "words").glob("*.py"), *SOURCES.rglob("*.jinja"), *(SOURCES / "pages").glob("*.py")]
    assert len(files) > 20
    texts = {path.name: DOCSTRING.sub("", path.read_text("utf-8")) for path in files}
    assert [name for name, text in texts.items() if typed.search(text)] == []
    told = f"stop between pH {WINDOW_PH[0]:g} and {WINDOW_PH[1]:g}"
    assert told == ph_words.stop_words()


def test_alkalinity_is_learned_not_guessed() -> None:
    """From the yearly report or a drop test; wells, softeners and rain: on card and terminal as on the handout."""
    for said in (ph_words.LEARN_ALKALINITY, handout_words.learn_alkalinity()):
        for source in ("yearly report", "drop test", "well", "softener", "Rain"):
            assert source in said


def test_what_strong_vinegar_does() -> None:
    """Eyes and skin, label, gloves, goggles, and what to use instead; too weak is no vinegar."""
    for word in ("skin", "blind", "label", "gloves", "goggles", "children", "5 %"):
        assert word in ph_words.vinegar_refused(30.0)
    assert "too weak" in ph_words.vinegar_refused(3.0)
    assert "pH down" in ph_words.other_acid("sulfuric")
