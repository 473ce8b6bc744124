"""What became of a returned file that was taken back, in the language that is spoken."""

from collections.abc import Iterator

from trialkit.documents.returns import TakenBack, cells_in
from trialkit.languages import gettext, ngettext
from trialkit.tables.table_schema import load_schema


def taken_back_words(one: TakenBack) -> Iterator[str]:
    """Say what went from the record, and what stays."""
    emptied = list(cells_in(one.emptied))
    rows = {(table, key) for table, key, column in emptied if column in load_schema(table).primary_key}
    more = sum((table, key) not in rows for table, key, _ in emptied)
    others, stayed = (sum(1 for _ in cells_in(cells)) for cells in (one.others, one.stayed))
    if rows:
        yield ngettext("{number} row went", "{number} rows went", len(rows))
    if more:
        yield ngettext("{number} cell is empty again", "{number} cells are empty again", more)
    if others:
        yield ngettext(
            "{number} cell says what came from elsewhere", "{number} cells say what came from elsewhere", others
        )
    if stayed:
        yield ngettext(
            "{number} cell was corrected or changed since, and stays",
            "{number} cells were corrected or changed since, and stay",
            stayed,
        )
    if not (emptied or others or stayed):
        yield gettext("nothing in the record came from it")
