"""Reading TOML that a stranger may have written."""

import tomllib
from typing import Any

MOST_POINTS = 100
"""In a line: names within names are read in a time that grows with the square of their number."""


def toml_data(text: str) -> dict[str, Any]:
    r"""Read the text of a TOML file.

    Raises
    ------
    ValueError
        If it is none, or made to keep its reader busy; not only a decode error: of a figure of 5,000 digits, say.

    Examples
    --------
    >>> toml_data("heads = 2\n")
    {'heads': 2}
    """
    for row, line in enumerate(text.splitlines(), start=1):
        if line.count(".") > MOST_POINTS and not line.lstrip().startswith("#"):
            raise ValueError(f"names within names, over a hundred of them (at line {row}, column 1)")
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise ValueError("brackets within brackets, hundreds of them") from error
