"""Documents as tidy tables: one row a thing, one column a fact, whatever is nested unfolded into columns."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

import pandas as pd

from trialkit.documents.results import Results
from trialkit.domain.treatment import Treatment

WHERE = {
    "candidates": "decision.candidates",
    "dose_points": "decision.dose.points",
    "spreads": "decision.spreads",
    "tipping_points": "decision.tipping",
    "other_priors": "decision.other_priors",
    "other_readings": "decision.other_readings",
    "means": "responses.means",
    "comparisons": "responses.comparisons",
    "pairs": "responses.pairs",
    "marginal_means": "responses.marginal_means",
    "tests": "responses.tests",
    "partly_tested": "responses.model.partly_tested",
    "variances": "responses.variances",
    "buckets": "responses.buckets",
    "site_means": "responses.site_means",
    "site_differences": "responses.gardens.differences",
    "explored": "responses.gardens.explored",
    "checks": "responses.checks",
    "residual_quantiles": "responses.diagnostics.quantiles",
    "residual_spread": "responses.diagnostics.spread",
    "powers": "responses.diagnostics.scale.profile",
    "losses": "losses.by_treatment",
    "site_losses": "losses.by_site",
    "factor_losses": "losses.by_factor.levels",
    "loss_tests": "losses.by_factor",
    "sites": "design.sites",
    "factors": "design.factors",
    "fixed_factors": "design.fixed",
    "feed_parts": "design.feed_parts",
    "acid_used": "design.acid_used",
    "doses": "water.doses",
    "site_water": "water.sites",
    "acid_readings": "water.readings",
    "ph_climbs": "water.climbs",
    "corrections": "corrections",
    "amendments": "amendments",
    "departures": "departures",
    "inputs": "inputs",
}
"""Every table of results and the field it stands in, in the order in which one reads them."""
TABLES = tuple(WHERE)
KEYS = {"responses": "response", "marginal_means": "factor", "by_factor": "factor"}
"""What the column is called that tells apart the tables that stand side by side in a field."""


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
    """Return one of the tables of `TABLES`; columns in front name the response, or factor, where there are several.

    Raises
    ------
    KeyError
        If there is no such table.
    """
    tables = []
    for keys, rows in _found(results, WHERE[name].split(".")):
        made = tidy(rows)
        for key, value in reversed(keys):
            made.insert(0, key, value)
        if len(made):
            tables.append(made)
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()


def _found(
    thing: Any, path: Sequence[str], keys: tuple[tuple[str, str], ...] = ()
) -> Iterator[tuple[tuple[tuple[str, str], ...], Iterable[Any]]]:
    """Follow a path of fields to rows, with the keys of what is passed on the way; what is not there has none."""
    if thing is None:
        return
    if not path:
        yield keys, thing
        return
    field, *rest = path
    inner = getattr(thing, field)
    if isinstance(inner, dict):
        for key, one in inner.items():
            yield from _found(one, rest, (*keys, (KEYS[field], key)))
    elif rest and isinstance(inner, tuple | list):
        for one in inner:
            yield from _found(one, rest, (*keys, (KEYS[field], one.column)))
    else:
        yield from _found(inner, rest, keys)
