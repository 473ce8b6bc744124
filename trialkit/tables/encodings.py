"""Older encodings that a text may be in which is not UTF-8: what it reads as in each, and whether that makes words."""

import re
import unicodedata
from dataclasses import dataclass
from functools import cached_property
from itertools import islice

from trialkit.languages import translatable

ENCODINGS = {"cp1252": translatable("Windows-1252 (Western European)"), "mac_roman": "Mac Roman"}
"""By the name of their codec, the likelier one first."""
MOST_LOOKED_AT = 10_000
"""High bytes: more of them tell no more."""
BETWEEN_WORDS = re.compile(r"[\s,;|\"]")
LONGEST_WORD, MOST_WORDS = 40, 5
WORDS_BY_THEMSELVES = "àèéìíòóùúÀÈÉ"
SIGN_IN_PLACE = re.compile(
    r"\w[’´].|.’\w|\W[‘“„]\w|[\w.,!?)]”.|[\s\d][–—][\s\d]|\w—\w|[\w.]….|[\s\d]°[\sCFcf,.;)]|[^A-Za-z][½¼¾].|[\s\d][×±][\s\d]"
    r"|.[£€¥]\d|\d[£€¢].|[A-Za-z][²³].|[\s\d]µ[SsgGlLmM]|\w[™®]\W|\W©.|\s[•·].|.\u00a0."
)
"""A sign where running text has it, between the characters before and after it."""


@dataclass(frozen=True)
class TextReading:
    """A text as one encoding has it."""

    encoding: str
    data: bytes

    @property
    def name(self) -> str:
        """Name of the encoding, as people know it."""
        return ENCODINGS[self.encoding]

    @cached_property
    def text(self) -> str:
        """The text; bytes that the encoding does not have are U+FFFD."""
        return self.data.decode(self.encoding, errors="replace")

    @property
    def words(self) -> tuple[str, ...]:
        """The first words with characters beyond ASCII, each once."""
        words: dict[str, None] = {}
        for found in re.finditer(r"[^\x00-\x7f]", self.text):
            at = found.start()
            before = BETWEEN_WORDS.split(self.text[max(at - LONGEST_WORD, 0) : at])[-1]
            words[before + BETWEEN_WORDS.split(self.text[at : at + LONGEST_WORD])[0]] = None
            if len(words) == MOST_WORDS:
                break
        return tuple(words)

    @property
    def faults(self) -> int:
        """In how many ways a character beyond ASCII stands where no text has it."""
        data = b" " + self.data + b" "
        found = islice(re.finditer(rb"[\x80-\xff]", data), MOST_LOOKED_AT)
        around = {data[one.start() - 1 : one.start() + 2] for one in found}
        return sum(not _is_in_place(*window.decode(self.encoding, errors="replace")) for window in around)


def readings_of_bytes(data: bytes) -> tuple[TextReading, ...]:
    """Read a text that is not UTF-8: in the one way in which it makes words, else in every way, the likelier first.

    Examples
    --------
    >>> [reading.text for reading in readings_of_bytes("flétri".encode("mac_roman"))]
    ['flétri']
    >>> [reading.text for reading in readings_of_bytes("Ann’s bed".encode("cp1252"))]
    ['Ann’s bed', 'Annís bed']
    """
    readings = sorted((TextReading(encoding, data) for encoding in ENCODINGS), key=lambda reading: reading.faults)
    sound = tuple(reading for reading in readings if not reading.faults)
    return sound if len(sound) == 1 else tuple(readings)


def _is_in_place(before: str, character: str, after: str) -> bool:
    if character.isalpha() and unicodedata.name(character).startswith("LATIN"):
        if not (before.isalpha() or after.isalpha()):
            return character in WORDS_BY_THEMSELVES
        small = character.islower()
        return not (before.isupper() and after.isupper()) if small else not before.islower()
    return SIGN_IN_PLACE.fullmatch(before + character + after) is not None
