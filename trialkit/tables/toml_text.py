"""Reading TOML that a stranger may have written: its data, or where it stops being TOML and why."""

import re
import tomllib
from typing import Any

MOST_POINTS = 100
"""In a line: names within names are read in a time that grows with the square of their number."""
PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")


class NoToml(ValueError):
    """A text that is no TOML: what is said of it, and where, as far as it can be told."""

    def __init__(self, said: str, row: int | None = None, character: int | None = None) -> None:
        super().__init__(said)
        self.said, self.row, self.character = said, row, character


def toml_data(text: str) -> dict[str, Any]:
    r"""Read the text of a TOML file.

    Raises
    ------
    NoToml
        If it is none, or made to keep its reader busy.

    Examples
    --------
    >>> toml_data("heads = 2\n")
    {'heads': 2}
    """
    for row, line in enumerate(text.splitlines(), start=1):
        if line.count(".") > MOST_POINTS and not line.lstrip().startswith("#"):
            raise NoToml("names within names, over a hundred of them", row)
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise NoToml("brackets within brackets, hundreds of them") from error
    except ValueError as error:
        raise _told(text, str(error)) from error


def _told(text: str, said: str) -> NoToml:
    place = PLACE.search(said)
    if place is None:  # not of TOML but of Python, which reads no number so long
        return NoToml("a number of thousands of figures")
    row = int(place[1]) if place[1] else max(1, len(text.splitlines()))
    return NoToml(PLACE.sub("", said), row, int(place[2]) if place[2] else None)
