"""What a merge says of each repair, question and refusal: one entry for each case of a rule, filled in with facts."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from trialkit.documents.returns import (
    CorrectOutcome,
    MergeOutcome,
    ReturnFinding,
    ToldCorrect,
    ToldFinding,
    ToldMerge,
    ToldOutcome,
)
from trialkit.domain.quoting import quoted, shown
from trialkit.languages import gettext, translatable
from trialkit.tables.table_schema import said_on_forms
from trialkit.words.message_words import MessageWords, by_name, messages_of
from trialkit.words.phrases import listed
from trialkit.words.problem_words import said_of

_MESSAGES = """
TK-R01: the file is not in UTF-8 but looks like {encoding!t}, and was read as that. See whether the words look right: \
{words!q}
TK-R01 byte-order mark: the file begins with a byte-order mark, which was taken off
TK-R01 UTF-16: the file is in UTF-16, and was read as that
TK-R02: it may have been {became!q}. | |  | {became!q}
TK-R02 encoding: the file is not in UTF-8. It may be {encoding!t}, with the words {words!q}, or {other!t}, with \
{other_words!q}. | | See which words are right. If the first are not, save the file again as "CSV UTF-8". | {encoding!t}
TK-R03: columns are separated by {marks!t}, not commas
TK-R03 first line: the first line says that columns are separated by {mark!q}
TK-R04 workbook: the name ends in {ending}, but the file is a workbook
TK-R04 csv: the name ends in {ending}, but the file is text in columns
TK-R04 phone: the name ends in {ending}, but the file is what a phone form saved
TK-R05 folder: a file | a folder or a device | Name the files themselves.
TK-R05 document: a workbook, a CSV file or a phone file | a PDF document
TK-R05 photograph: a workbook, a CSV file or a phone file | a photograph
TK-R05 picture: a workbook, a CSV file or a phone file | a picture
TK-R05 web page: rows and columns of text | a web page saved under the name of a CSV file | Open it in a spreadsheet \
program and save it as "CSV UTF-8" or as a workbook (.xlsx).
TK-R05 damaged UTF-16: whole text | text in UTF-16 that is cut off or damaged
TK-R05 NUL bytes: plain text | NUL bytes, the first in line {line}
TK-R05 no letters: text in UTF-8 or {encoding!t} | bytes that are no letter in either
TK-R05 other program: a workbook (.xlsx) | a document of another program | Open it in a spreadsheet program and save \
it as a workbook (.xlsx).
TK-R05 archive: a workbook (.xlsx) | an archive without a workbook | Open it in a spreadsheet program and save it as \
a workbook (.xlsx).
TK-R05 entities: a workbook without them | a workbook that defines XML entities
TK-R05 damaged workbook: a whole one | a workbook that is cut off or damaged
TK-R05 damaged inside: a whole one | a workbook that is damaged inside
TK-R06 locked: a workbook without password | a locked file
TK-R06 locked or old: a workbook (.xlsx) without password | a locked workbook or an old .xls
TK-R07: {most_read} | {found_there}
TK-R08 empty file: a header and at least one row | an empty file
TK-R08 no sheet: a sheet with a header and at least one row | nothing
TK-R08 no rows: at least one row below the header | none
TK-R08 no record: at least one record | none
TK-R09: a closing " for each opening one | a quotation mark in line {line} that is never closed
TK-R09 text after: a closing " for each opening one | text after a closing quotation mark, in line {line}
TK-R10 no table: the headings of heads, solution or visits, such as bucket, head, weight_g | {headings!q}
TK-R10 another table: heads, solution or visits. Layout, sites and products are not merged: edit them by hand | \
the table {table}
TK-R11: the headings are in row {header_row}. What is above them would not be read.
TK-R12 no values: a column {heading!q} that has no values was passed over
TK-R12 rows: blank rows were passed over
TK-R12 columns: blank columns right of the table were passed over
TK-R12 line ends: lines end in different ways, as if the file had been put together from several
TK-R13: records only
TK-R14 below: rows of the table {table} only | another header: {text!q}
TK-R14 beside: the table {table} only | headings of the table {other} beside it: {text!q}
TK-R15: one value in each cell | merged cells {cells}
TK-R16 remark: a remark on a cell is not read.
TK-R16 struck out: colours and strokes are not read, so the values would be taken as they are. | {count:cell} struck out
TK-R16 coloured: colours and strokes are not read, so the values would be taken as they are. | {count:cell} coloured \
otherwise than the rest
TK-R17 sheet: it would be read like the others. | a hidden sheet
TK-R17 rows: they would be read like the others. | {count:hidden row/# hidden rows}
TK-R17 column: it would be read like the others. | a hidden column
TK-R18 error: a value | the error {text!q}
TK-R18 without value: a value | the formula {text!q} without its value
TK-R18 as text: a number | the formula {text!q} as text | Replace the formula by its value.
TK-R19: only capitals, blanks or the title differ
TK-R19 order: the columns are in another order and were read by their headings
TK-R20: each heading once | {heading!q} {count} times
TK-R21: it looks like {became}. | | See whether it is. For another column, name it: {option}.
TK-R21 unit: it looks like {meant}, in {unit}. Every value would be converted. | | See whether it is. For another \
column, name it: {option}. | {meant}, converted from {unit}
TK-R21 remembered: as answered before, of a file with the same headings
TK-R22: the table has no such column. It would be left out, and kept in the original under returned. | | See whether \
it is needed. What matters belongs under note.[[ If it stands for one of {absent}, name that: {option}.]] | left out
TK-R22 no table: no table of the record has such a heading, nor enough of the others. | | Say which column it stands \
for: {answers!o}[[, one of {columns}]]. Write nothing after the equals sign to leave it out.
TK-R22 answered: the column {heading!q} was left out, as answered
TK-R22 remembered: the column {heading!q} was left out, as answered before of a file with the same headings
TK-R22 no heading: it has no heading. It would be left out, and kept in the original under returned. | column \
{number} with {first!q} and {more} more | | left out
TK-R23: {wanted} cells as in the header | {count} cells[[, the last of them {last!q}]]
TK-R23 right: {wanted} cells as in the header | a value right of the table[[, the last of them {last!q}]]
TK-R24: one column for each thing | {headings!q} | Write one row for each: {key} in the first column, the day under \
{day}, and the value beside it.
TK-R25 bucket: the layout has no such bucket; {became} differs in one place.
TK-R25 garden: no garden has this name; {became} is the nearest.
TK-R26: it may be {became}, whose leading zeros a spreadsheet program took off.
TK-R27 date: a label of the layout | {text!q}, a date that a spreadsheet program seems to have made of the label
TK-R27 number: a label of the layout | {text!q}, a number that a spreadsheet program seems to have made of the label
TK-R28 bucket: the layout has no other label that this can be
TK-R28 code: the code of the label says so
TK-R28 garden: no other garden can be meant
TK-R29: only marks around the value were taken off
TK-R30 several: a label of the layout | | It may be {likely!o}. Look at the bucket.
TK-R30 near: a label of the layout | | The nearest label of the layout is {nearest}. Look at the bucket.
TK-R30 unknown: a label of the layout | | Look at the bucket.
TK-R30 far: a label of the layout | | No label of the layout is near to it. Look at the bucket.
TK-R30 another trial: a label of the trial {ours} | | It is one of the trial {theirs!q}: send the record there.
TK-R30 another layout: a label of this layout | | The layout has no such bucket in that garden. Look at the bucket.
TK-R30 several gardens: a name that one garden has | | Ask which garden it is, and write its short name: {likely!o}.
TK-R30 garden: a garden of the trial: {gardens}
TK-R31: one row for {which} | {differences}
TK-R32: {absent} of the {planned} buckets of {site} {absent:has/have} no row, neither in the file nor in heads.csv. | \
{first}[[ and {more} more]] | Ask whether they are still to come. If you accept, what is here is merged, and they \
may follow. A bucket that died has the outcome dead. One of which nobody knows needs no row. | still to come
TK-R33: the comma is the decimal separator, as in the whole column
TK-R33 one way: it can be read in one way only
TK-R34 mixed: this column has commas and points as decimal separators. Each would be read as one. | |  | decimals
TK-R34 gap: the gap may separate thousands ({became}), or two numbers may stand in one cell. | |  | {became!q}
TK-R34 either: it may be {decimal} (the {mark!t} is the decimal separator) or {whole} (it separates thousands). | | \
Say which: --decimals {mark} reads {decimal}, --decimals {other} reads {whole}.
TK-R35: the unit is that of the column
TK-R35 converted: converted, 1 {unit} being {factor} {column_unit}
TK-R36 kg: as a weight in grams it is unlikely. In kilograms it would be {weight_g} g. | | Ask what the scale showed. \
Then say --weights kg to convert such weights, or --weights g to leave them.
TK-R36 oz: as a weight in grams it is unlikely. In ounces it would be {weight_g} g. | | Ask what the scale showed. \
Then say --weights oz to convert such weights, or --weights g to leave them.
TK-R37 number: one number, or an empty cell
TK-R37 made a date: one number | | A spreadsheet program took the number for a date. Look up the record and type the \
number again.
TK-R37 no year: a date with its year | | Write year-month-day, with the year in full.
TK-R38: the figures stand for these
TK-R39: here it can only mean that there is nothing to record
TK-R39 not known: nobody knows it, so it stays empty; it never counts as zero
TK-R39 nothing added: it may mean that nothing was added (0), or that this was a measurement only (an empty cell). | \
| Ask what was meant.
TK-R39 not weighed: the outcome is {outcome}, so nothing was weighed
TK-R40: it says the same as row {first_row}, and was left out
TK-R40 sheet: the sheet says the same as the sheet {first!q}, and was left out
TK-R40 heading: the heading line is repeated here, and was left out
TK-R41 either: it may be {readings!o}.[[ {certain!q} of this sheet can only be {order!t}.]] | | Say which: {answers!o}.
TK-R41 other order: a date with the {first!t} first | {text!q}, {orders!o}
TK-R41 both orders: one order of day and month throughout | {text!q}, which can only be {order!t}, while others can \
only be the other way | Write all dates year-month-day, such as 2026-08-20, after a look at the paper record.
TK-R42: a day count: {from_1900} if it begins in 1900, as usual, or {from_1904} if in 1904. | | Say which: {answers!o}.
TK-R43: it can be read in one way only
TK-R43 time: it can be read in one way only. The time of day was left out
TK-R43 order: {order!t}, as every date of the sheet must be
TK-R44: the value that the formula had when it was saved
TK-R45: in every row the head was cut before it was transplanted. The two columns would be exchanged. | \
transplanted_on and harvested_on | | each other
TK-R46: it is no table of the record and would be left out. | a sheet
TK-R47 trial: a form of the trial {ours} | a form of {theirs!q}
TK-R47 version: version {ours} of the forms | forms of version {theirs!q} | Make the forms anew.
TK-R47 layout: a form of the layout as it is, version {ours} | a form made for another layout, version {theirs}
TK-R47 rows: rows of the trial {ours}
TK-R47 rows version: a layout version of this trial, up to {ours}
TK-R47 garden: a form of a garden of the trial | a form of {site!q}
TK-R48 format: a file of the format {wanted} | the format {format!q}
TK-R48 details: the details of a phone form, as text
TK-R48 beginning: text that begins with {{ | text that was cut off at its beginning
TK-R48 end: the whole text that the phone form copied | text that breaks off
TK-R48 half a character: whole characters | half a character, as no phone writes it
TK-R48 several: one record | two or more in one text | Save each to a file of its own.
TK-R48 check sum: one that fits | a check sum that does not fit the records
TK-R48 no check sum: one that fits | no check sum
TK-R48 table: the tables heads, solution and visits | a table {table!q}
TK-R48 texts: texts only | something else in the table {table!q}
TK-R49: it may be {became}.
TK-R50: nothing else can be meant
TK-R52: {count:1 row is/# rows are} not complete yet in {table}.csv. A later return may fill in the rest
TK-R53: others of this column are written as {other}. If a program exchanged day and month before it wrote them so, \
they are wrong. They would be taken as they are.
TK-R54: the sheet was recognised by its headings as the table {table}
TK-R56 unknown: one of the conflicts that are open: {known} | {id!q}
TK-R56 gone: a row of {table}.csv | {key}, which is no longer there
TK-R56 several: the ID of one conflict | {id!q}, which is that of {keys}
TK-R56 row: {cause.expected} | {chosen_key}, {column} {cause.found} | {cause.how_to_fix} Choose for the other cells \
of this row, too. Or correct the row of {chosen_in}.csv: trialkit correct DIR BUCKET HEAD COLUMN=VALUE --why TEXT.
TK-R57: it belongs to {other}, and the form to {site}. It would be taken as it is.
TK-R58: the words around the record were passed over: {around!q}
TK-R61: {text!q} for {key} was decided against before, and {kept!q} stays
"""

RETURN_MESSAGES = messages_of(_MESSAGES)
"""By rule and case; what a check of the record would say is in problem_words."""

OUR_WORDS = (
    translatable("comma"),
    translatable("point"),
    translatable("day"),
    translatable("month"),
    translatable("year"),
    translatable("day-first"),
    translatable("month-first"),
    translatable("year-first"),
)
"""Of facts, those that messages say (``!t``) and that are marked for translation nowhere else."""


def told_finding(finding: ReturnFinding, *, at_desk: bool = False) -> ToldFinding:
    """Say what was found in a returned file; at the desk no command and no option is named."""
    said = said_of_finding(finding, at_desk=at_desk)
    if finding.verdict == "question":
        accept = f" To take it so, add {finding.answers[0]}." if finding.answers[0].startswith("--accept") else ""
        said = replace(said, how_to_fix=f"{said.how_to_fix}{accept}")
    elif finding.verdict == "refused":
        said = replace(said, became="")
    elif finding.answers:
        accepted = finding.answers[0].startswith("--accept")
        by_option = f"{'accepted' if accepted else 'read'} by {finding.answers[0]}"
        why = gettext("as you answered") if at_desk else by_option
        said = MessageWords(why, said.found, "", said.became or gettext("proposed"))
    else:
        said = replace(said, how_to_fix="")
    return ToldFinding(
        **vars(finding), found=said.found, became=said.became, why=said.expected, how_to_fix=said.how_to_fix
    )


def said_of_finding(finding: ReturnFinding, *, at_desk: bool = False) -> MessageWords:
    """Fill in a finding's message; what was rewritten without being proposed first is quoted."""
    facts: dict[str, Any] = by_name(finding.facts)
    facts |= _as_forms_say(finding.rule, facts)
    known = facts | {"answers": finding.answers, "file": finding.file, "column": finding.column}
    known |= {"option": finding.answers[-1]} if finding.answers else {}
    if "cause" in facts:
        known["cause"] = said_of(facts["cause"], facts["cause_case"], known, at_desk=at_desk)
    if finding.rule == "TK-R31":
        known |= _two_rows(facts)
    elif finding.rule == "TK-R41":
        known |= _orders(facts)
    elif finding.rule == "TK-R56" and finding.case == "unknown":
        known["known"] = tuple(map(gettext, facts["known"]))
    proposed = finding.answers[:1] and finding.answers[0].startswith("--accept")
    if finding.verdict != "repaired" or proposed:
        return said_of(finding.rule, finding.case, known, RETURN_MESSAGES, at_desk=at_desk)
    text, became = facts.get("text", ""), facts.get("became", "")
    quoted_became = f'"{became}"' if became else gettext("empty") if text else ""
    if finding.answers:
        return MessageWords("", f'"{text}"', "", quoted_became)
    said = said_of(finding.rule, finding.case, known, RETURN_MESSAGES, at_desk=at_desk)
    return replace(said, became=quoted_became)


def _as_forms_say(rule: str, facts: dict[str, Any]) -> dict[str, Any]:
    """Say listed values as forms print them, in the language that is spoken: whoever filled one in knows no other."""
    names = {"TK-V09": ("yes", "no"), "TK-V11": ("choices", "near"), "TK-R49": ("became",), "TK-R50": ("became",)}
    return {
        name: tuple(map(said_on_forms, facts[name])) if name == "choices" else said_on_forms(facts[name])
        for name in names.get(rule, ())
        if name in facts
    }


def _two_rows(facts: dict[str, Any]) -> dict[str, str]:
    """Say in what two rows of the same key differ."""
    empty = gettext("empty")
    first, here = ([f'"{text}"' if text else empty for text in facts[row]] for row in ("first", "here"))
    texts, row = zip(facts["columns"], first, here, strict=True), facts["first_row"]
    told = (
        gettext("{column} {first} in row {row} and {here} here", column=column, first=first, row=row, here=here)
        for column, first, here in texts
    )
    return {"which": f"{listed(facts['names'])} {facts['key']}", "differences": "; ".join(told)}


def _orders(facts: dict[str, Any]) -> dict[str, tuple[str, ...]]:
    """Say the orders of dates of several numbers."""
    told = {name: facts[name] for name in ("orders", "readings") if name in facts}
    days = {name: [text.partition(" (") for text in texts] for name, texts in told.items()}
    return {
        name: tuple(f"{day} ({gettext(order[:-1])})" if order else gettext(day) for day, _, order in of_it)
        for name, of_it in days.items()
    }


def finding_sentence(finding: ReturnFinding, *, at_desk: bool = False) -> str:
    """Say a finding and where it is on one line."""
    told = told_finding(finding, at_desk=at_desk)
    place = [shown(told.file)]
    if told.sheet is not None:
        place.append(gettext("sheet {sheet}", sheet=quoted(told.sheet)))
    if told.row is not None:
        place.append(gettext("row {row}", row=told.row))
    if told.column is not None:
        place.append(gettext("column {column}", column=shown(told.column)))
    return f"{', '.join(place)}: {what_was_found(told)} [{told.rule}]"


def what_was_found(told: ToldFinding) -> str:
    """Say a finding, but for where it is."""
    if told.verdict == "repaired":
        if not told.became:
            return f"{told.why}."
        return gettext("{found} was read as {became}: {why}.", found=told.found, became=told.became, why=told.why)
    if told.verdict == "question":
        return f"{told.found}: {told.why} {told.how_to_fix}" if told.found else f"{told.why} {told.how_to_fix}"
    if told.found:
        expected = gettext("found {found}. Expected {expected}.", found=told.found, expected=told.why)
        return f"{expected} {told.how_to_fix}"
    return f"{told.why}. {told.how_to_fix}"


def told_merge(outcome: MergeOutcome) -> ToldMerge:
    """Say what was found beside what became of each file, for programs."""
    files = tuple(ToldOutcome(**(vars(file) | {"findings": _told(file.findings)})) for file in outcome.files)
    return ToldMerge(**(vars(outcome) | {"files": files, "refused_choices": _told(outcome.refused_choices)}))


def told_correct(outcome: CorrectOutcome) -> ToldCorrect:
    """Say what was found beside what was put right, for programs."""
    return ToldCorrect(**(vars(outcome) | {"findings": _told(outcome.findings)}))


def _told(findings: tuple[ReturnFinding, ...]) -> tuple[ToldFinding, ...]:
    return tuple(map(told_finding, findings))
