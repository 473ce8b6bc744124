"""A fit on one screen, as text and for a notebook."""

from __future__ import annotations

import html
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

import pandas as pd


@dataclass(frozen=True, eq=False)
class FitSummary:
    """What a fit found, in lines and tables: shown as text, and as HTML in a notebook."""

    title: Annotated[str, "What was fitted."]
    lines: Annotated[tuple[str, ...], "Rows, terms, likelihood; what was left out or is too small to measure."]
    tables: Annotated[Mapping[str, pd.DataFrame], "Tables by their headings, as the fit has them."]

    def __str__(self) -> str:
        tables = (f"{name}\n{table.to_string(**FORMAT)}" for name, table in self.tables.items())
        return "\n\n".join(["\n".join([self.title, *self.lines]), *tables])

    def __repr__(self) -> str:
        return str(self)

    def _repr_html_(self) -> str:
        """In a notebook: everything that strangers named is escaped."""
        told = "<br>".join(map(html.escape, self.lines))
        tables = (f"<p>{html.escape(name)}</p>{_escaped(table)}" for name, table in self.tables.items())
        return f"<p><b>{html.escape(self.title)}</b><br>{told}</p>{''.join(tables)}"


FORMAT = {"float_format": "{:.4g}".format, "na_rep": ""}


def _escaped(table: pd.DataFrame) -> str:
    return str(table.to_html(border=0, escape=True, **FORMAT))


def counted(number: int, one: str) -> str:
    """A number of things, such as ``1 row`` or ``3 rows``."""
    return f"{number} {one}{'' if number == 1 else 's'}"
