"""A table as a value: caption, columns and rows of text, ready for the template."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated

from trialkit.words.measures import Sentence

FEWEST_SORTED = 5


@dataclass(frozen=True)
class Column:
    """A column's heading, and whether its cells line up as numbers."""

    heading: str | Sentence
    is_number: bool = True


@dataclass(frozen=True)
class Row:
    """A row's heading, its cells, and a word about it ("recommended"), empty for most."""

    heading: str | Sentence
    cells: tuple[str | Sentence, ...]
    remark: str = ""


@dataclass(frozen=True)
class Table:
    """A table."""

    name: Annotated[str, "Unique on the page; letters, digits and hyphens."]
    caption: str | Sentence
    columns: Annotated[tuple[Column, ...], "The first heads the row headings."]
    rows: tuple[Row, ...]
    note: Annotated[str | Sentence, "What a reader must know to read it; may be empty."] = ""
    is_ordered: Annotated[
        bool, "Whether the rows have an order of their own that they would be the worse for losing."
    ] = False

    @property
    def is_sortable(self) -> bool:
        """Whether a reader may want its rows in another order."""
        return not self.is_ordered and len(self.rows) >= FEWEST_SORTED


def text_column(heading: str | Sentence) -> Column:
    """Column of words."""
    return Column(heading, is_number=False)


def columns(first: str | Sentence, *numbers: str | Sentence) -> tuple[Column, ...]:
    """Columns of a table whose cells, after the row headings, are numbers."""
    return (text_column(first), *(Column(heading) for heading in numbers))


def make_table(
    name: str,
    caption: str | Sentence,
    heads: tuple[Column, ...],
    body: Iterable[Row],
    note: str | Sentence = "",
    *,
    is_ordered: bool = False,
) -> Table | None:
    """Make a table, or None where it would have no row.

    Raises
    ------
    ValueError
        If a row has not as many cells as the table has columns.
    """
    rows = tuple(body)
    if any(len(row.cells) + 1 != len(heads) for row in rows):
        raise ValueError(f"table '{name}': a row has not {len(heads)} cells")
    return Table(name, caption, heads, rows, note, is_ordered) if rows else None
