"""What checks and merges say in a language other than English: filled in alike, nothing of it English, and short."""

from __future__ import annotations

import re
from string import Formatter
from types import SimpleNamespace
from typing import Any

import pytest

from english_left import english_said
from sentences import sentences, too_long
from tests.support.catalogue import of_checks
from trialkit.languages import ENGLISH, LANGUAGES, speaking
from trialkit.tables.problem import problem
from trialkit.words.message_words import OPTIONAL, fill_in, say
from trialkit.words.problem_words import AT_THE_DESK, MESSAGES, NO_TEXT, TOML_HINTS, told_problem
from trialkit.words.repair_words import RETURN_MESSAGES

OTHERS = [language for language in LANGUAGES if language != ENGLISH]
SAID = sorted({*of_checks(), *AT_THE_DESK.values(), *NO_TEXT.values(), *TOML_HINTS.values()})
"""Every part of every message of a check or a merge."""
OF_OURS = {
    "mark": "semicolons",
    "marks": "tabs",
    "encoding": "Windows-1252 (Western European)",
    "other": "Windows-1252 (Western European)",
    "weekday": "Friday",
    "order": "day-first",
    "first": "month",
}
"""Facts that are words of ours (``!t``), and one of them."""
ALIKE = ["UTF-8", "mS/cm", "{size_kb} kB", "{text} L"]
"""What is said alike everywhere."""
LEFT = re.compile(r"\{\w|\w\}|\[\[|\]\]")


def sample(template: str) -> dict[str, Any]:
    """Make a fact for each place of a message, of the kind that it takes."""
    told: dict[str, Any] = {}
    for _, name, spec, conversion in Formatter().parse(template):
        if not name:
            continue
        value: Any = "Q7"
        if conversion in ("o", "p"):
            value = ("Q7", "Q8")
        elif conversion == "t":
            value = OF_OURS[name]
        elif conversion == "d":
            value = "2026-08-20"
        elif spec or conversion == "n":
            value = 3 if spec and ("/" in spec or spec[1:].isalpha() or "," in spec) else 3.0
        first, _, attribute = name.partition(".")
        told[first] = SimpleNamespace(**{attribute: "Q7."}) if attribute else value
    return told


def test_many_messages_are_looked_at() -> None:
    """Nearly all parts of nearly six hundred messages; their number stands in the catalogue of checks alone."""
    assert len(SAID) > 600
    assert {"TK-R60", "TK-V02"} <= MESSAGES.keys()
    assert "TK-R41 either" in RETURN_MESSAGES


@pytest.mark.parametrize("language", OTHERS)
def test_a_message_is_said_whole(language: str) -> None:
    """Filled in with facts of its kinds, it has nothing of English and no place left; a missing fact is left out."""
    with speaking(language):
        told = {text: say(text, sample(text)) for text in SAID}
        short = {text: say(text, sample(OPTIONAL.sub("", text))) for text in SAID}
    assert not [text for text, said in told.items() if not said or LEFT.search(said)]
    assert [text for text, said in told.items() if said == fill_in(text, sample(text))] == ALIKE
    assert english_said([*told.values(), *short.values()], language=language) == []
    assert [text for text in SAID if "[[" in text and short[text] == told[text]] == []


@pytest.mark.parametrize("language", OTHERS)
def test_its_sentences_are_short(language: str) -> None:
    """As those of pages are; the English ones are counted where rules and messages are written."""
    with speaking(language):
        told = [say(text, sample(text)) for text in SAID]
    assert too_long([sentence for text in told for sentence in sentences(text)]) == []


def test_at_the_desk_no_command_is_named() -> None:
    """Neither in what stands in its place, nor in what is left as it is."""
    assert not [text for text in SAID if re.search(r"trialkit \w+ (DIR|\{)|--why|--choose", text)]
    said = told_problem(
        problem("TK-R51", "heads.csv", column="weight_g", kept="1", returned="2", key="334X 1", id="ab")
    )
    desk = told_problem(
        problem("TK-R51", "heads.csv", column="weight_g", kept="1", returned="2", key="334X 1", id="ab"), at_desk=True
    )
    assert "trialkit merge DIR --choose ab=kept" in said.how_to_fix
    assert desk.how_to_fix == "Look at the paper record, then choose in the post room."
    assert (said.found, said.expected) == (desk.found, desk.expected)


def test_words_of_a_file_are_explained() -> None:
    """They stand there as the file has to have them, with what forms of the language call them."""
    wrong = problem("TK-V11", "heads.csv", "choices", row=2, column="outcome", schema="heads", text="x",
                    choices=("harvested", "not_weighed"))  # fmt: skip
    with speaking("es"):
        assert told_problem(wrong).expected == "uno de estos: harvested (cosechada), not_weighed (sin pesar)"
    assert told_problem(wrong).expected == fill_in("one of {choices}", {"choices": ("harvested", "not_weighed")})
