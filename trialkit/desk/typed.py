"""What people type into a form: lists, one a line; names of treatments; doses in teaspoons."""

from __future__ import annotations

import re
from collections.abc import Mapping

from trialkit.desk.field_faults import FieldFault
from trialkit.domain.errors import WrongCall
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.languages import gettext, in_every_language, translatable
from trialkit.protocol.starting import dose_from
from trialkit.tables.nearest import plain_name

NONE, AND = translatable("none"), translatable("and")
NO_REASON = translatable("Say why, for whoever asks later.")


def names_in(text: str) -> list[str]:
    r"""Read names, one a line or with commas between, each once.

    Examples
    --------
    >>> names_in(" Fenleaf, Paleheart\r\n\nFenleaf ")
    ['Fenleaf', 'Paleheart']
    """
    return list(dict.fromkeys(name for part in re.split(r"[\r\n,;]+", text) if (name := part.strip())))


def acids_in(text: str) -> list[str]:
    r"""Read names of acids; the word for none, in any language, is none.

    Examples
    --------
    >>> acids_in("White vinegar\nNone")
    ['White vinegar', 'none']
    """
    words = {plain_name(word) for word in in_every_language(NONE)}
    return list(dict.fromkeys(NO_PRODUCT if plain_name(name) in words else name for name in names_in(text)))


def doses_in(text: str, field: str = "doses") -> tuple[list[float], list[FieldFault]]:
    r"""Read doses, one a line, increasing; tell what is no number. A comma within a number is not taken for a point.

    Examples
    --------
    >>> doses_in("4 tsp\n2, 4.5 and 6")
    ([2.0, 4.0, 4.5, 6.0], [])
    """
    found, faults = set(), []
    words = "|".join(re.escape(word) for word in sorted(in_every_language(AND)))
    for part in filter(None, map(str.strip, re.split(rf"[\r\n;]+|,(?=\s|$)|\s(?:{words})(?=\s)", text))):
        try:
            found.add(dose_from(part))
        except ValueError:
            told = gettext("“{typed}” is not one number. Write level teaspoons, such as 4 or 4.5.", typed=part)
            faults.append(FieldFault(field, told))
    return sorted(found), faults


def whole_number_in(text: str, least: int, most: int) -> int | None:
    """Read a whole number in plain figures; None where it is none, or beyond what is allowed.

    Examples
    --------
    >>> whole_number_in("007", 1, 12), whole_number_in("13", 1, 12), whole_number_in("9" * 5000, 1, 12)
    (7, None, None)
    """
    figures = text.strip().lstrip("0") or text.strip()[:1]
    if not (figures.isascii() and figures.isdecimal() and len(figures) <= len(str(most))):
        return None
    return int(figures) if least <= int(figures) <= most else None


def whole_number_fault(least: int, most: int) -> str:
    """Say which whole number is wanted."""
    return gettext("Write a whole number from {least} to {most}.", least=least, most=most)


def reason_in(form: Mapping[str, str]) -> str:
    """Return the reason that a form gives.

    Raises
    ------
    WrongCall
        If it gives none.
    """
    why = form.get("why", "").strip()
    if not why:
        raise WrongCall(gettext(NO_REASON))
    return why


def form_values(form: Mapping[str, str]) -> dict[str, str]:
    """Return what a form holds, line ends as everywhere here."""
    return {name: value.replace("\r\n", "\n") for name, value in form.items()}
