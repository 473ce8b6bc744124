"""Text in TOML as plain data, held to the budget of a protocol."""

import re
import tomllib
from collections.abc import Iterator
from typing import Any

from trialkit.domain.reading_budget import PROTOCOL, OverBudget

LONG_KEY = re.compile(r"""(?<![\w\-"'])(?:[\w\-"']++[ \t]*+\.[ \t]*+){50}""")


def toml_data(text: str) -> dict[str, Any]:
    r"""Read a text in TOML; lines may end as any program ends them.

    Raises
    ------
    OverBudget
        If it holds more than any protocol.
    ValueError
        If it is no TOML; not only a decode error: of a figure of 5,000 digits, say.

    Examples
    --------
    >>> toml_data("[trial]\rid = 'autumn'")
    {'trial': {'id': 'autumn'}}
    """
    PROTOCOL.hold("file_bytes", len(text), counted=True)
    if LONG_KEY.search(text):  # its reader takes time and memory with the square of a key's parts
        raise OverBudget("depth", PROTOCOL.depth)
    try:
        data = tomllib.loads(text.replace("\r\n", "\n").replace("\r", "\n"))
    except RecursionError:
        raise OverBudget("depth", PROTOCOL.depth) from None
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
