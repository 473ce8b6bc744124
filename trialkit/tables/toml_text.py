"""Text in TOML as plain data, held to the budget of a protocol."""

import re
import tomllib
from collections.abc import Iterator
from typing import Any

from trialkit.domain.reading_budget import PROTOCOL, OverBudget

PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
LONG_KEY = re.compile(r"""(?<![\w\-"'])(?:[\w\-"']++[ \t]*+\.[ \t]*+){50}""")


class NoToml(ValueError):
    """A text that is no TOML: what is said of it, and where, as far as it can be told."""

    def __init__(self, said: str, row: int | None = None, character: int | None = None) -> None:
        super().__init__(said)
        self.said, self.row, self.character = said, row, character


def toml_data(text: str) -> dict[str, Any]:
    r"""Read a text in TOML; lines may end as any program ends them.

    Raises
    ------
    OverBudget
        If it holds more than any protocol.
    NoToml
        If it is none; not only a decode error: of a figure of 5,000 digits, say.

    Examples
    --------
    >>> toml_data("[trial]\rid = 'autumn'")
    {'trial': {'id': 'autumn'}}
    """
    PROTOCOL.hold("file_bytes", len(text))
    if LONG_KEY.search(text):  # its reader takes time and memory with the square of a key's parts
        raise OverBudget("depth", PROTOCOL.depth)
    try:
        data = tomllib.loads(text.replace("\r\n", "\n").replace("\r", "\n"))
    except RecursionError:
        raise OverBudget("depth", PROTOCOL.depth) from None
    except ValueError as error:
        raise _told(text, str(error)) from error
    for number, depth in enumerate(_depths(data), start=1):
        PROTOCOL.hold("depth", depth)
        PROTOCOL.hold("items", number)
    return data


def _depths(data: dict[str, Any]) -> Iterator[int]:
    """Yield how deep each key and each value of a list stands."""
    waiting: list[tuple[int, Any]] = [(1, data)]
    while waiting:
        depth, value = waiting.pop()
        for inner in value.values() if isinstance(value, dict) else value:
            yield depth
            if isinstance(inner, dict | list):
                waiting.append((depth + 1, inner))


def _told(text: str, said: str) -> NoToml:
    place = PLACE.search(said)
    if place is None:  # not of TOML but of Python, which reads no number so long
        return NoToml("a number of thousands of figures")
    row = int(place[1]) if place[1] else max(1, len(text.splitlines()))
    return NoToml(PLACE.sub("", said), row, int(place[2]) if place[2] else None)
