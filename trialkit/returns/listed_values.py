"""Words from a list, and yes or no, as people write them."""

import re

from trialkit.returns.cell_text import free_text, means_nothing, tidy
from trialkit.returns.finding_log import Log
from trialkit.returns.recognising import ReturnedTable
from trialkit.tables.nearest import nearest_name
from trialkit.tables.table_schema import Field

SYNONYMS = {"cut": "harvested"}
YES, NO = {"yes", "y", "true", "✓", "✔", "☑"}, {"no", "n", "false", "✗", "✘"}


def repair_words(table: ReturnedTable, log: Log) -> None:
    """Rewrite words as the record has them, where nothing else can be meant; ask where one is only near."""
    for field in table.schema.fields:
        if field.name not in table.cells or field.name in table.schema.primary_key:
            continue
        if field.type == "boolean":
            _yes_or_no(table, field, log)
        elif field.enum:
            _listed(table, field, log)
        elif field.type == "string":
            cells = table.cells[field.name]
            table.cells[field.name] = [
                free_text(text.strip(), table.place(i, field.name), log) for i, text in enumerate(cells)
            ]


def _yes_or_no(table: ReturnedTable, field: Field, log: Log) -> None:
    cells = table.cells[field.name]
    for position, raw in enumerate(cells):
        place = table.place(position, field.name)
        text = cells[position] = tidy(raw, field, place, log) if raw else ""
        if not text or text in field.true_values or text in field.false_values:
            continue
        if means_nothing(text):
            log.note("TK-R39", place, text=text)
            cells[position] = ""
        elif (folded := text.casefold().rstrip(".!")) in YES | NO:
            cells[position] = "yes" if folded in YES else "no"
            log.note("TK-R50", place, text=text, became=cells[position])


def _listed(table: ReturnedTable, field: Field, log: Log) -> None:
    cells, words = table.cells[field.name], field.enum or ()
    for position, raw in enumerate(cells):
        place = table.place(position, field.name)
        text = cells[position] = tidy(raw, field, place, log) if raw else ""
        if not text or text in words:
            continue
        folded = re.sub(r"[\s_\-]+", "_", text.casefold().strip(" .!"))
        folded = SYNONYMS.get(folded, folded)
        if folded in words:
            log.note("TK-R50", place, text=text, became=folded)
            cells[position] = folded
        elif (near := nearest_name(folded, words)) and not means_nothing(text):
            log.ask("TK-R49", place, text=text, became=near)
            cells[position] = near
