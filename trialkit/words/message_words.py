"""How a message is filled in with facts: the small language in which problem_words and repair_words are written.

``{text}`` is a fact as it is, a list with commas between; ``{text!q}`` in quotation marks; ``{text!c}`` a cell, which
may be empty; ``{mark!t}`` a word of ours, translated; ``{text!r}`` as code writes it; ``{first!p}`` names with their
values; ``{readings!o}`` alternatives; ``{first!d}`` a date; ``{ratio!n}`` a number to two figures, never in powers of
ten; ``{count:row}`` is counted; ``{count:one row/# rows}`` takes what goes with one or with many; other formats are
Python's. ``[[...]]`` is left out where a fact in it is not given. What is counted, dates and decimals go by the
language that is being spoken.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from string import Formatter
from typing import TYPE_CHECKING, Any

from trialkit.languages import gettext, in_figures
from trialkit.words.phrases import count, date_words, number

if TYPE_CHECKING:
    from trialkit.documents.problems import Fact

OPTIONAL = re.compile(r"\[\[(.*?)\]\]", re.DOTALL)


@dataclass(frozen=True)
class MessageWords:
    """How one message is said.

    Attributes
    ----------
    expected : str
        What should stand there; of a repair or a question, what allows it or what is doubtful.
    found : str
        What stands there.
    how_to_fix : str
        What to do; what the rule book says where this is empty.
    became : str
        What a question proposes to read it as.
    """

    expected: str
    found: str = "[[{text!c}]]"
    how_to_fix: str = ""
    became: str = "[[{became}]]"


def messages_of(text: str) -> dict[str, MessageWords]:
    """Read messages, one a line: ``rule case: expected | found | how to fix | became``, as far as they are not usual.

    Examples
    --------
    >>> messages_of("TK-F06 text after: a closing mark | text after it")["TK-F06 text after"].found
    'text after it'
    """
    messages = {}
    for line in (line for line in text.splitlines() if line and not line.startswith("#")):
        code, _, words = line.partition(": ")
        given = zip(("expected", "found", "how_to_fix", "became"), map(str.strip, words.split("|")), strict=False)
        messages[code] = MessageWords(**{name: part for name, part in given if part})
    return messages


class _Sentence(Formatter):
    def convert_field(self, value: Any, conversion: str | None) -> Any:
        if conversion == "c":
            return f'"{value}"' if value else gettext("an empty cell")
        if conversion == "t":
            return gettext(value)
        if conversion == "q":
            return tuple(map(_quoted, value)) if isinstance(value, tuple) else _quoted(value)
        if conversion == "p":
            return tuple(f"{name} {_quoted(text)}" for name, text in zip(value[::2], value[1::2], strict=True))
        if conversion == "d":
            return date_words(value) or ""
        if conversion == "n":
            return number(value, 2)
        if conversion == "o":
            return f" {gettext('or')} ".join(value)
        return super().convert_field(value, conversion)

    def format_field(self, value: Any, spec: str) -> Any:
        if isinstance(value, tuple):
            return ", ".join(map(_plain, value))
        if "/" in spec:
            return spec.split("/")[value != 1].replace("#", str(value))
        if spec[1:].isalpha():
            return count(value, spec)
        told = super().format_field(value, spec)
        return in_figures(told) if isinstance(value, float) else told


def fill_in(template: str, facts: Mapping[str, Any]) -> str:
    """Fill facts into a template; strangers' texts among them are on one line already.

    Examples
    --------
    >>> fill_in("{count:row} in {file}[[, first {first!q}]]", {"count": 2, "file": "heads.csv"})
    '2 rows in heads.csv'
    >>> fill_in("one of {levels}; {key!p}", {"levels": ("a", 2.0), "key": ("bucket", "334X")})
    'one of a, 2; bucket "334X"'
    """
    parts = OPTIONAL.split(template)  # every second one is optional
    told = (part for place, part in enumerate(parts) if not place % 2 or names_in(part) <= facts.keys())
    return "".join(_SENTENCE.vformat(part, (), facts) for part in told)


def say(template: str, facts: Mapping[str, Any]) -> str:
    """Fill facts into a message, as the language that is being spoken has it.

    Examples
    --------
    >>> from trialkit.languages import speaking
    >>> with speaking("es"):
    ...     say("a whole number", {})
    'un número entero'
    """
    return fill_in(gettext(template), facts) if template else ""


def names_in(template: str) -> set[str]:
    """Name the facts that a template needs."""
    return {name.partition(".")[0] for _, name, _, _ in _SENTENCE.parse(template) if name}


def by_name(facts: Iterable[Fact]) -> dict[str, Any]:
    """Return facts by their names."""
    return {fact.name: fact.value for fact in facts}


def _quoted(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else _plain(value)


def _plain(value: object) -> str:
    return in_figures(f"{value:g}") if isinstance(value, float) else str(value)


_SENTENCE = _Sentence()
