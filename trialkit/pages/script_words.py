"""What a page's script says, handed to it in the language of the page; in English it says its own words."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any

from trialkit.languages import ENGLISH, gettext, language_tag, plural_form, plural_forms, spoken

KEYWORDS: dict[str, Any] = {"say": None, "sayCount": (1, 2)}
"""Functions of a script that say a text: by itself, or one of two by a number."""
NUMBERS_LOOKED_AT = 200
"""Which form a larger number takes shows in its last two figures."""


def script_words(script: str, also: Iterable[str] = ()) -> dict[str, Any]:
    """Gather what a script needs in order to speak the language that is spoken; nothing in English.

    Parameters
    ----------
    script : str
        The script, which says what it says through `KEYWORDS`.
    also : iterable of str
        Texts that it is handed by its page and says too.
    """
    if spoken() == ENGLISH:
        return {}
    words: dict[str, str | list[str]] = {text: gettext(text) for text in also}
    for message in _messages(script):
        if isinstance(message, str):
            words[message] = gettext(message)
        else:
            words[message[0]] = list(plural_forms(*message))
    return {
        "locale": language_tag(),
        "words": words,
        "plurals": [plural_form(number) for number in range(NUMBERS_LOOKED_AT)],
    }


@cache
def _messages(script: str) -> tuple[str | tuple[str, str], ...]:
    return tuple(_extracted(script))


def _extracted(script: str) -> Iterator[str | tuple[str, str]]:
    from babel.messages.extract import extract

    for _, message, _, _ in extract("javascript", io.BytesIO(script.encode("utf-8")), KEYWORDS):
        yield message if isinstance(message, str) else (message[0], message[1])
