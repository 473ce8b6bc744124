"""Documents as tidy tables: one row a thing, one column a fact, whatever is nested unfolded into columns."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

import pandas as pd

from trialkit.documents.findings import ResponseResult
from trialkit.documents.results import Results
from trialkit.domain.treatment import Treatment

TABLES = (
    "candidates",
    "means",
    "comparisons",
    "pairs",
    "marginal_means",
    "tests",
    "variances",
    "buckets",
    "site_means",
    "checks",
    "losses",
)
"""Tables of results, in the order in which one reads them."""


def tidy(things: Iterable[Any]) -> pd.DataFrame:
    """Make a table of dataclasses; a nested one's fields stand under its name, those of a treatment by themselves.

    Examples
    --------
    >>> from trialkit.documents.findings import Variance
    >>> tidy([Variance("site", 134.8, 11.6)]).to_dict("list")
    {'term': ['site'], 'variance': [134.8], 'sd': [11.6]}
    """
    return pd.DataFrame([dict(_columns(thing)) for thing in things])


def _columns(thing: Any, prefix: str = "") -> Iterator[tuple[str, Any]]:
    for field in fields(thing):
        value, name = getattr(thing, field.name), f"{prefix}{field.name}"
        if isinstance(value, Treatment):
            yield from _columns(value, "" if field.name == "treatment" else f"{name}_")
        elif is_dataclass(value) and not isinstance(value, type):
            yield from _columns(value, f"{name}_")
        elif isinstance(value, Enum):
            yield name, value.value
        elif not isinstance(value, list | tuple | dict):
            yield name, value


def table_of(results: Results, name: str) -> pd.DataFrame:
    """Return one of the tables of `TABLES`; that of responses has a column that names the response.

    Raises
    ------
    KeyError
        If there is no such table.
    """
    if name == "candidates":
        return tidy(results.decision.candidates if results.decision else ())
    if name == "losses":
        return tidy(results.losses.by_treatment)
    if name == "marginal_means":
        return _of_responses(results, _marginal_rows)
    if name not in TABLES:
        raise KeyError(name)
    return _of_responses(results, lambda response: tidy(getattr(response, name)))


def _marginal_rows(response: ResponseResult) -> pd.DataFrame:
    tables = [tidy(means).assign(factor=factor) for factor, means in (response.marginal_means or {}).items()]
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()


def _of_responses(results: Results, make: Any) -> pd.DataFrame:
    tables = []
    for name, response in results.responses.items():
        made = make(response)
        if len(made):
            made.insert(0, "response", name)
            tables.append(made)
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()
