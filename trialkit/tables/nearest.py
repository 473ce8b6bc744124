"""The nearest known name to a misspelt one."""

from collections.abc import Iterable
from difflib import get_close_matches


def nearest_name(text: str, known: Iterable[str]) -> str | None:
    """Return the known name that looks most like `text`, ignoring case, or None if none is near.

    Examples
    --------
    >>> nearest_name("Weight_gr", ["weight_g", "note"])
    'weight_g'
    >>> nearest_name("zzz", ["weight_g", "note"]) is None
    True
    """
    by_folded = {name.casefold(): name for name in known}
    matches = get_close_matches(text.casefold()[:100], by_folded, n=1, cutoff=0.6)
    return by_folded[matches[0]] if matches else None
