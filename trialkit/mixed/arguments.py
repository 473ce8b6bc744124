"""What a fit was asked for, read: one name or several, and everything else refused in words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pandas as pd

from trialkit.mixed.refusals import FormulaError, MixedModelError


def named_terms(random: Any) -> tuple[str, ...]:
    """Return the random terms asked for, one by itself or several.

    Raises
    ------
    MixedModelError
        If they are anything but texts.

    Examples
    --------
    >>> named_terms("block"), named_terms(["site", "site:block"])
    (('block',), ('site', 'site:block'))
    """
    if isinstance(random, str):
        return (random,)
    example = "name columns, such as random='block' or random=['site', 'site:block']"
    if isinstance(random, bytes) or not isinstance(random, Iterable):
        raise MixedModelError(f"random is {random!r}: {example}.")
    terms = tuple(random)
    wrong = ", ".join(repr(term) for term in terms if not isinstance(term, str))
    if wrong:
        raise MixedModelError(f"random has {wrong}, which is no text: {example}.")
    return terms


def require_kinds(data: Any, formula: Any, **columns: Any) -> None:
    """Refuse data that are no frame, a formula that is no text, and a column that is not named by one.

    Raises
    ------
    FormulaError
    """
    wrong = []
    if not isinstance(data, pd.DataFrame):
        wrong.append(f"The data are of type {type(data).__name__}: give a pandas DataFrame, such as pd.DataFrame(data)")
    if not isinstance(formula, str):
        wrong.append(f"The formula is {formula!r}: give a text, such as 'weight_g ~ dose'")
    for argument, column in columns.items():
        if column is not None and not isinstance(column, str):
            wrong.append(f"The column {argument} is of type {type(column).__name__}: give its name, a text")
    if wrong:
        raise FormulaError(". ".join(wrong) + ".")
