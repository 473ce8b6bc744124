"""Names that are alike: the same but for capitals or accents, or the nearest to a misspelt one."""

import unicodedata
from collections.abc import Iterable
from difflib import get_close_matches

from trialkit.domain.quoting import shown


def plain_name(text: str) -> str:
    """Fold what people leave out or change in a name: capitals, accents, width, and how many blanks there are.

    Examples
    --------
    >>> plain_name("École  du Moulin") == plain_name("ecole du moulin")
    True
    """
    parted = unicodedata.normalize("NFKD", text)
    return " ".join("".join(c for c in parted if not unicodedata.combining(c)).casefold().split()) or text


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


def meant(text: str, known: Iterable[str]) -> str:
    """Ask, after a sentence, whether the nearest known name was meant; say nothing if none is near.

    Examples
    --------
    >>> meant("weight_gr", ["weight_g", "note"]), meant("zzz", ["note"])
    (' Did you mean weight_g?', '')
    """
    near = nearest_name(text, known)
    return f" Did you mean {shown(near)}?" if near else ""
