"""Words from a list, and yes or no, as people write them."""

import re
from collections.abc import Mapping

from trialkit.languages import in_every_language, translatable
from trialkit.returns.cell_text import free_text, is_not_known, is_said, means_nothing, tidy
from trialkit.returns.finding_log import Log, Place
from trialkit.returns.recognising import ReturnedTable
from trialkit.tables.form_words import values_by_plain_word, values_by_word
from trialkit.tables.nearest import nearest_name, plain_name
from trialkit.tables.table_schema import Field

YES, NO = {"yes", "y", "true", "✓", "✔", "☑"}, {"no", "n", "false", "✗", "✘"}
TRUE, FALSE = translatable("true"), translatable("false")
"""What a spreadsheet program writes for yes and no, in the language in which it is used."""
# Words that people write instead of a listed one, each in its own language, with semicolons or points between; capitals
# and accents do not matter. None that may mean two things: what is gone may be eaten or stolen, what wilts may recover.
IN_WORDS: Mapping[str, str] = {
    "harvested": translatable("cut; picked; harvest"),
    "not_weighed": translatable("unweighed; cut but not weighed; harvested but not weighed; harvested, not weighed"),
    "not_ready": translatable("not ready yet; not yet ready; still growing; growing"),
    "dead": translatable(
        "died; it died; has died; dead plant; plant died; rotted; rotten; it rotted; rotted away; dried up; dried out"
    ),
    "bolted": translatable("it bolted; bolting; went to seed; gone to seed; ran to seed; flowered"),
    "eaten": translatable(
        "slugs; snails; rabbits; deer; birds; eaten by slugs; eaten by snails; eaten by slugs and snails. "
        "eaten by a slug; eaten by rabbits; eaten by a rabbit; eaten by deer; eaten by birds; eaten by caterpillars. "
        "eaten by insects; eaten by bugs; eaten by pests; eaten by animals. slugs ate it; snails ate it; "
        "rabbits ate it; deer ate it; birds ate it"
    ),
    "stolen": translatable("was stolen; it was stolen; somebody stole it"),
    "never_planted": translatable("not planted; was not planted; was never planted; not transplanted"),
    "gave_up": translatable("given up; abandoned; gardener gave up"),
}


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
        elif is_not_known(text):
            log.note("TK-R39", place, "not known", text=text)
            cells[position] = ""
        elif (folded := text.casefold().rstrip(".!")) in YES | NO:
            cells[position] = "yes" if folded in YES else "no"
            log.note("TK-R50", place, text=text, became=cells[position])
        else:
            cells[position] = _in_another_language(text, field, place, log) or text


def _listed(table: ReturnedTable, field: Field, log: Log) -> None:
    cells, words = table.cells[field.name], field.enum or ()
    for position, raw in enumerate(cells):
        place = table.place(position, field.name)
        text = cells[position] = tidy(raw, field, place, log) if raw else ""
        if not text or text in words:
            continue
        folded = re.sub(r"[\s_\-]+", "_", text.casefold().strip(" .!"))
        if folded in words:
            cells[position] = folded
            if text != field.said(folded):
                log.note("TK-R50", place, text=text, became=folded)
        elif became := _in_another_language(text, field, place, log):
            cells[position] = became
        elif is_not_known(text):
            log.note("TK-R39", place, "not known", text=text)
            cells[position] = ""
        elif (near := _nearest(folded, field)) and not means_nothing(text):
            log.ask("TK-R49", place, text=text, became=near)
            cells[position] = near


def _in_another_language(text: str, field: Field, place: Place, log: Log) -> str | None:
    """Read a word as forms of other languages list it, which needs no note, or as people and programs write it."""
    if became := values_by_word(field).get(text):
        return became
    plain = plain_name(text.strip(" .!"))
    became = values_by_plain_word(field).get(plain)
    if field.type == "boolean":
        for word, value in ((TRUE, field.true_values[0]), (FALSE, field.false_values[0])):
            became = value if plain in map(plain_name, in_every_language(word)) else became
    if not became:
        listed = (value for value in IN_WORDS if value in (field.enum or ()))
        became = next((value for value in listed if is_said(text, IN_WORDS[value])), None)
    if became:
        log.note("TK-R50", place, text=text, became=became)
    return became


def _nearest(folded: str, field: Field) -> str | None:
    """Return the value that looks most like what was written, or whose word in another language does."""
    if near := nearest_name(folded, field.enum or ()):
        return near
    words = values_by_plain_word(field)
    near = nearest_name(folded.replace("_", " "), words)
    return words[near] if near else None
