"""What a check says of each problem: one entry for each case of a rule, filled in with the problem's facts.

The messages are translated where they are filled in (`trialkit.words.message_words.say`).

Measures are told in the unit of the file, whatever measures pages are read in: the cell is put right in that unit.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from trialkit.documents.problems import Problem, ToldProblem
from trialkit.languages import ENGLISH, gettext, spoken, translatable
from trialkit.tables.rule_book import RULES
from trialkit.words.budget_words import budget_words
from trialkit.words.message_words import MessageWords, by_name, fill_in, messages_of, say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from trialkit.tables.table_schema import Field

ACCEPTED = {
    "choices": translatable("one of {choices}"),
    "either": translatable("{yes} or {no}"),
    "range": translatable("{minimum} to {maximum}[[ {unit}]]"),
    "label": translatable("letters, figures and hyphens"),
    "name": translatable("a short name of letters and figures"),
    "length": translatable("at most {most} characters"),
    "type": translatable("a {type}"),
}
"""Which values a column accepts, by the kind of its limit."""

# Plain words for what the TOML reader says; the first that occurs in its message counts.
TOML_HINTS = {
    "Expected '=' after a key": translatable("Write each line as key = value."),
    "Invalid value": translatable(
        'Put text into "double quotes". Write numbers with a point, and dates as 2026-08-20.'
    ),
    "thousands of figures": translatable(
        "Write the number that is meant. No number here has more than nineteen figures."
    ),
    "names within names": translatable("Write one key = value on each line, and each [section] above its keys."),
    "brackets within brackets": translatable(
        "Take out the brackets that are not needed: a list in [square brackets] holds values."
    ),
    "Invalid date": translatable("Look up the day. No calendar has this one."),
    "Cannot overwrite a value": translatable("The same key is there twice: remove one."),
    "Cannot declare": translatable("The same [section] is there twice: join them."),
    "Unclosed array": translatable("Close the list with ]."),
    "Unescaped": translatable("Write a backslash twice, as \\\\."),
    "Illegal character": translatable(
        "Close the quotation marks on the same line. Write \\n for a new line in a text."
    ),
    "Unterminated string": translatable("Close the quotation marks."),
    "Expected newline or end of document": translatable(
        "Put one key = value on each line. Decimals have a point, not a comma."
    ),
}

# What each kind of validation error of trial.toml expects, by pydantic's name of it or by a case of ours.
VALUES = {
    "": "{said}",
    "string_type": 'text in "double quotes"',
    "int_type": "a whole number, without quotation marks",
    "int_from_float": "a whole number",
    "float_type": "a number, without quotation marks",
    "bool_type": "true or false",
    "date_type": "a date such as 2026-08-20, without quotation marks",
    "union_tag_not_found": "a text or a number",
    "tuple_type": "a list in [square brackets]",
    "dict_type": "a section of keys",
    "model_type": "a section of keys",
    "greater_than": "more than {gt}",
    "greater_than_equal": "at least {ge}",
    "less_than": "less than {lt}",
    "less_than_equal": "at most {le}",
    "finite_number": "a finite number",
    "literal_error": "{expected}",
    "string_too_short": "some text",
    "string_too_long": "at most {max_length} characters",
    "too_short": "at least {min_length} in the list",
    "too_long": "at most {max_length} in the list",
    "window_order": "the earlier day first, such as [28, 56]",
    "id": "small letters, figures and hyphens, such as autumn-dose",
    "plain text": "text without control characters",
    "one line": "one line of text without control characters",
    "disorder": "doses in increasing order",
}

NO_TEXT = {
    "TK-F04": translatable("Save it again in UTF-8, from a program for plain text."),
    "TK-F05": translatable("Put it back from a copy, or save it again in UTF-8, from a program for plain text."),
    "TK-F10": translatable("Put it back from a copy, or write it anew in a program for plain text."),
}
"""What to do about bytes that are no text, in a file that no spreadsheet program saves."""

WEEKDAYS = (
    translatable("Monday"),
    translatable("Tuesday"),
    translatable("Wednesday"),
    translatable("Thursday"),
    translatable("Friday"),
    translatable("Saturday"),
    translatable("Sunday"),
)

NOTHING_TO_CORRECT = ("TK-S02",)

AT_THE_DESK = {
    "TK-F11 record": translatable("Nothing to do if it is read rightly. To correct single values, use the post room."),
    "TK-F12": translatable(
        "Put the file back from a copy, then correct single values in the post room. Or show dates as year-month-day "
        'and names as text in the spreadsheet program, and save it as "CSV UTF-8".'
    ),
    "TK-F14": translatable("Work the answer out again. That makes them anew from the records."),
    "TK-L06": translatable("Remove the garden. If the trial has begun and it takes part, let it join there."),
    "TK-L07 garden": translatable(
        "If somebody wrote them by hand and nothing is planted yet, take them out of layout.csv. Then let the garden "
        "join, which draws the lots. If something is planted, leave them, and say in the report that this garden was "
        "not randomised."
    ),
    "TK-L11": translatable("Restore amendments.csv from a copy."),
    "TK-R51": translatable("Look at the paper record, then choose in the post room."),
    "TK-R55": translatable("Open the post room. It finishes what was begun."),
    "TK-R56": translatable("Look at the list of conflicts again. Or correct the whole row."),
    "TK-R56 row": translatable(
        "{cause.how_to_fix} Choose for the other cells of this row, too. Or correct the whole row."
    ),
    "TK-R59": translatable(
        "Restore the file from a copy. If there is no copy, move it away and merge the originals in returned again. "
        "Its choices and corrections are then lost."
    ),
    "TK-R60": translatable(
        "Put the file back from a copy, then correct values in the post room. If it is right as it is, the next merge "
        "takes it so."
    ),
    "TK-R60 corrected": translatable(
        "In the post room, give the right value and the reason, even if the value is right now."
    ),
}
"""How to put right at the desk, by rule and case, what messages and rule book name a command for."""

_MESSAGES = """
# Files
TK-F01: a file named {file} in the folder | no file
TK-F02 link: a file inside the trial folder | a link that leads out of the folder
TK-F02 folder: an ordinary file | a folder or a device
TK-F02 unreadable: a file that can be read | {said!q}
TK-F03: {most_read} | {found_there}
TK-F04: UTF-8 | text that looks like {encoding!t}, near {near!q}
TK-F04 UTF-16: UTF-8 | text that looks like UTF-16
TK-F05: plain text | NUL bytes
TK-F06: a closing " for each opening one | a cell that never ends
TK-F06 text after: a closing " for each opening one | text after a closing "
TK-F07: columns separated by one mark | a header separated by {mark!t}, and rows that are not
TK-F08 empty file: a header and at least one row | an empty file
TK-F08 no rows: at least one row below the header | none | {of_table} Write each one below the header, with at least \
{needed}.
TK-F09: {wanted} cells as in the header | {count} cells[[, the last of them {last!q}]]
TK-F10: plain text | a spreadsheet workbook
TK-F11: the table as it was written, and it is read so | a table that a spreadsheet program saved in its own way\
[[. Dates are written {date_text} for {date}]][[. Decimals are written {number_text} for {number}]]\
[[. Its columns are separated by {marks!t}]][[. Names are taken for numbers, {name_text} for {name}]] | Nothing to do \
if it is read rightly.
TK-F11 record: the table as it was written, and it is read so | a table that a spreadsheet program saved in its own way\
[[. Dates are written {date_text} for {date}]][[. Decimals are written {number_text} for {number}]]\
[[. Its columns are separated by {marks!t}]][[. Names are taken for numbers, {name_text} for {name}]] | Nothing to do \
if it is read rightly. trialkit merge DIR writes it as it was. To correct single values, you need no spreadsheet \
program: trialkit correct DIR BUCKET HEAD COLUMN=VALUE --why TEXT.
TK-F12 either: dates that can be read in one way | a table that a spreadsheet program saved in its own way. {text!q} \
may be {readings!o}, and nothing in the table says which
TK-F12 both orders: dates of one order | a table that a spreadsheet program saved in its own way. {text!q} and \
{other!q} cannot have the same order of day and month
TK-F12 day counts: dates | a table that a spreadsheet program saved in its own way. {text!q} is a day count, from 1900 \
or from 1904
TK-F12 numbers: a number | a table that a spreadsheet program saved in its own way. It took numbers for dates, such \
as {text!q}
TK-F12 names: names as they are declared | a table that a spreadsheet program saved in its own way. It took names for \
numbers, such as {text!q}[[, which may be {readings!o}]]
TK-F13: data to which the rule {name!q} can be applied | a failure of the rule ({said})
TK-F14 no text: the results as trialkit analyse wrote them | a file that cannot be read as UTF-8 text
TK-F14 damaged: the results as trialkit analyse wrote them | results that are damaged[[ at {where!q}]]
# Headings
TK-C01: a column {column} | no such column
TK-C02: only {columns} | a column {heading!q} | [[Did you mean {near!q}? ]]{of_rule}
TK-C02 no headings: a first line with headings, as there are several columns: any of {columns} | {count:column} \
without a heading | Write a line of headings above, or leave the names alone.
TK-C03: each heading once | {heading!q} {count} times
# Cells
TK-V01: a value | | [[Did you mean {near!q}? ]]{of_column}
TK-V02: a number
TK-V02 grouped: a number | | Write {plain} without anything between the figures.
TK-V03: a number alone | | [[Remove {unit!q} if that is the unit in the heading. If not, convert the value.]]
TK-V04: a number with a point as decimal separator | | Write a point before decimals, nothing elsewhere.
TK-V04 decimal: a number with a point as decimal separator | | Write {decimal} with a point.
TK-V04 either: a number with a point as decimal separator | | Write {decimal} if the comma is a decimal separator, or \
{whole} if it separates thousands.
TK-V05: a whole number
TK-V06: a date as year-month-day
TK-V06 day count: a date as year-month-day | | A spreadsheet shows its own day count here. Format the column as a \
date, year-month-day, and save it again.
TK-V07: a date as year-month-day | | Write year-month-day, with the year in full.
TK-V07 one: a date as year-month-day | | Write {readings} if that is the day meant.
TK-V07 either: a date as year-month-day | | Write {readings!o}, whichever day is meant.
TK-V08: a day that exists
TK-V08 weekday: a day that exists. That one is a {weekday!t}
TK-V09: {yes} or {no}
TK-V12 control characters: text without control characters | | Type the text again.
TK-V14: a finite number
TK-V15: plain figures. It is read as {read}
# Rows and links
TK-K01: only one row for it, but row {first_row} has it already | {key!p}
TK-K01 earlier row: only one row for it, but an earlier row has it already | {key!p}
TK-K02: a {column} that {listed_in}.csv lists | | [[Did you mean {near!q}? Otherwise add it to {listed_in}.csv.]]
TK-K04: a name that no other garden has | | {other} has the same name, if you leave capitals, accents and \
blanks aside. Change one of them.
TK-K03: a date from {first} to {last}, within a year of the start of the trial
# The protocol
TK-P01: a protocol in TOML | {said}[[ (at character {character} of the line)]]
TK-P01 county: a county's block in TOML | {said}[[ (at character {character} of the line)]]
TK-P02: a key of the protocol | {key!q} | [[Did you mean {near!q}?]][[It can be any of: {known}.]]
TK-P02 more: keys and values of a protocol | {count} faults more | Correct those that are named. See whether it is \
the right file, then check again.
TK-P03 key: the key {key} | nothing
TK-P03 section: a section [{key}] | nothing
TK-P04 doses: numbers of teaspoons | {level!r}
TK-P04 names: names in quotation marks | {level!r}
TK-P04 alike: names that differ in more than capitals, accents or blanks from {other!q} | {level!q}
TK-P04 twice: each level once | {level!r} twice
TK-P04 close doses: doses at least {least_tsp:g} teaspoon apart, as no spoon can tell these from each other | \
{lower_tsp!r} and {higher_tsp!r}
TK-P05 missing: one of {levels!q} | nothing
TK-P05 no level: one of {levels!q} | {level!r}
TK-P05 fixed: its only level, {only!r}, or nothing | {level!r}
TK-P05 no factor: nothing, as this factor plays no part | {level!r}
TK-P06 missing: the factor that is applied to whole plots | none
TK-P06 not wanted: no whole-plot factor in a layout of kind {kind} | {factor}
TK-P06 not varied: one of two or more factors that each have two or more levels | {factor}
TK-P07: at least one factor with two levels | one treatment
TK-P08: a product of products.csv | {product!q} | [[Did you mean {near!q}? Otherwise add it to products.csv.]]
TK-P09: at most {most} | {treatments} treatments
TK-P10 missing: a whole number, as the layout is of kind {kind} | nothing
TK-P10 not wanted: no such key in a layout of kind {kind} | {written}
TK-P10 volunteer: 2 to {most} buckets a volunteer | {block_size}
TK-P11 keep apart: false with fewer than {fewest} treatments, as alternating two leaves nothing to chance | true
TK-P11 large blocks: fewer buckets in a block than the {treatments} treatments, or the kind randomised complete \
blocks, which holds them all | {block_size}
TK-P11 divides: a size that divides the {treatments} treatments ({sizes}) | {block_size}
TK-P11 no divisor: resolvable = false, as no size divides {treatments} treatments | {block_size}
TK-P11 replicates: a multiple of {multiple}, the blocks that hold all {treatments} treatments once | {blocks}
TK-P11 small rectangles: at least {treatments} buckets in a garden, one for each treatment | {blocks} x {rows} rows x \
{columns} columns = {buckets} buckets
TK-P11 several factors: one, as in an augmented layout each new level stands once | {count} factors with two levels \
or more
TK-P11 unknown check: a level of factors.{factor} | {level!r}
TK-P11 all checks: at least one level that is no check | every level
TK-P11 one square: at least 2 squares in each garden, as one of two treatments leaves nothing to judge chance by | \
{blocks} | Raise layout.blocks to 2 or more.
TK-P11 few blocks: at least {needed} blocks[[ of {block_size} buckets]][[ of {rows} rows and {columns} columns]] in \
all, to compare {treatments} treatments | {blocks} in {gardens:one garden/# gardens} | Raise layout.blocks, make \
blocks larger, or add gardens.
TK-P12 no dose: parts of the feed under [factors.dose.parts] | parts of {factor}
TK-P12 no base: factors.dose.product, too, the base whose teaspoons tell the dose | {part!q} alone
TK-P12 base: other products than the base | {part!q}, which is factors.dose.product
TK-P12 label: a nutrient with a label and the grams of a level teaspoon in products.csv | {part!q} without
TK-P13: calcium of {needed_mg_l:.0f} mg/L or more with {dose_tsp:g} teaspoons, half of what goes with that much \
nitrogen in a published solution for lettuce | {fed_mg_l:.0f} mg/L from {feed!q}, and not enough known in the water of \
{gardens:one garden/# gardens}
TK-P14: at most {most_l:.3g} L, so that an air gap stays below the lid | {text} L
TK-P15 kind: a PNG picture | a file of another kind
TK-P15 bytes: at most {most_kb} kB | {size_kb} kB
TK-P15 pixels: {least} to {most} pixels on each side | {width} by {height} pixels
TK-P15 damaged: a PNG picture that can be read to its end | one that is cut off or damaged
# The layout
TK-L01: one of {levels}
TK-L01 no factor: an empty cell, as trial.toml declares no {factor}
TK-L02: a position of its own in the garden
TK-L03: labels with a check character | {count} without, such as {first!q}
TK-L04 no column: a column whole_plot, as the layout is a split-plot | no such column
TK-L04 not filled in: the number of the whole plot
TK-L04 mixed: the level that the other buckets of its whole plot have
TK-L05 often: each of {treatments} treatments {most} times at {site!q} | {buckets} buckets, {differ} treatments more \
or less often
TK-L05 between: each of {treatments} treatments {fewest} to {most} times at {site!q} | {buckets} buckets, {differ} \
treatments more or less often
TK-L05 twice: each treatment at most once in each {column} | a treatment twice in {count} of them, such as {first!p}
TK-L06: a garden that has buckets in layout.csv
TK-L07 layout: the layout of seed {seed} | another layout
TK-L07 garden: the buckets of {site!q} as seed {seed} draws them | rows that no lot drew | If somebody wrote \
them by hand and nothing is planted yet, take them out of layout.csv. Then run trialkit site, which draws the lots. If \
something is planted, leave them, and say in the report that this garden was not randomised.
TK-L08 treatments: two buckets or more of a treatment | one of each
TK-L08 whole plots: two whole plots or more of a {factor} | one of each
TK-L09: the number of the {column}
TK-L09 no column: a column {column}, as the layout is of kind {kind} | no such column
TK-L10: a layout in which blocks join all treatments | {groups} groups of treatments that no block compares, one with \
{treatment}
TK-L11 version: {wanted}, one more than the version before
TK-L11 twice: a garden that joins once, and withdraws only while it takes part | a second row
TK-L11 present: a garden that withdrew before | a garden that takes part
# The heads
TK-H01: 1 to {heads}, the heads a bucket (bucket.heads in trial.toml)
TK-H02: a weight, as the outcome is harvested
TK-H03: a date, as the outcome is harvested
TK-H04: an empty cell, as the outcome says that the head was not cut
TK-H04 not weighed: an empty cell, as the outcome says that nobody weighed the head
TK-H05: an empty cell, as the outcome says that the head was not cut
TK-H06: a date not before transplanted_on
TK-H07: a date from transplanted_on to harvested_on
TK-H08: rows in heads.csv for this bucket
TK-H09: {heads}, one for each head of the bucket (bucket.heads) | {count:row} in heads.csv for {bucket!q}
TK-H10: a weight like the others in its garden
TK-H11: at most {most_days} days after transplanted_on
TK-H12: about {first_days} to {last_days} days after transplanted_on (schedule.harvest_after_days)
TK-H13: grams | a median of {median:.3g} at {site}, where {highest_site} has {highest_median:.3g} | If {site} weighed \
in ounces, multiply its weights by {grams_in_an_ounce:.5g}. If not, look them up.
TK-H14: about one weight in five | {rounded} of {weights} weights at {site} that end in 0 or 5
TK-H15 within a bucket: weights of their own | {heads} heads of bucket {bucket}, all of the same weight
TK-H15 two buckets: weights of their own | the weights of bucket {first} again at bucket {bucket}: {weights_g}
TK-H16: at most {most_g_a_day:g} g for each day from transplanting to harvest
TK-H17: losses alike in all treatments | {worst_pct:.0f} % of the heads lost with {factor} {worst}, {best_pct:.0f} % \
with {best}
TK-H18: an outcome, as a harvest is recorded
TK-H19: a date, as the outcome says that the head stood in the bucket
TK-H20: an outcome | none for {count:head} at {site}
TK-H21 transplanting: {assigned}, when most heads of the garden were transplanted
TK-H21 cultivar: {assigned!q}, which layout.csv gives this bucket
TK-H22 transplanting: {assigned}, when most heads of the garden were transplanted. Its row says {why!q}
TK-H22 cultivar: {assigned!q}, which layout.csv gives this bucket. Its row says {why!q}
# The solution
TK-S01 dose: the dose that layout.csv gives this bucket, {assigned:g}
TK-S01 no acid: 0, as layout.csv gives this bucket no acid
TK-S01 acid: some acid, as layout.csv gives this bucket one
TK-S01 volume: about {assigned:g} L, as the protocol fills the buckets
TK-S01 mixing: {assigned}, when most buckets of the garden got their nutrient
TK-S02 dose: the dose that layout.csv gives this bucket, {assigned:g}. Its row says {why!q}
TK-S02 no acid: 0, as layout.csv gives this bucket no acid. Its row says {why!q}
TK-S02 acid: some acid, as layout.csv gives this bucket one. Its row says {why!q}
TK-S02 volume: about {assigned:g} L, as the protocol fills the buckets. Its row says {why!q}
TK-S02 mixing: {assigned}, when most buckets of the garden got their nutrient. Its row says {why!q}
TK-S03: no more than ph_before, as acid was added
TK-S04: about {usual_ms_cm:.2g} mS/cm, as others with this dose in this garden
TK-S05: no day after the bucket's last harvest
TK-S06: about {lowest:.1f} to {highest:.1f}, by the water's alkalinity and what was added
TK-S07: mS/cm | conductivities at {site} of {ratio!n} times what the label foresees
TK-S08 too weak: at least {least:g} g in 100 mL, as all vinegar has
TK-S08 too strong: at most {most:g} g in 100 mL
TK-S09: at most {most:g} mg/L where acid is tried
TK-S12: about {planned_l:g} L, as the protocol fills the buckets
# Merges
TK-R51: one value | {kept!q} and {returned!q} for {key} | Look at the paper record, then choose: trialkit merge \
DIR --choose {id}=kept, or {id}=returned. DIR is the trial's folder.
TK-R55: files that belong together | a trialkit command that was stopped half-way | Run trialkit merge {folder} \
without files. It finishes what was begun.
TK-R59 no text: the document as trialkit wrote it | bytes that are no UTF-8 text
TK-R59 damaged: the document as trialkit wrote it | a document that is damaged[[ at {where!q}]]
TK-R59 changed: the document as trialkit wrote it | a document that was changed since trialkit wrote it
TK-R60: the table as trialkit merge or trialkit correct wrote it last | records that were changed since
TK-R60 corrected: {after!c}, as corrected by {by} on {on} | | Give the right value and the reason, even if the value \
is right now: trialkit correct DIR BUCKET HEAD {column}=VALUE --why TEXT.
# Weather
TK-T01: a temperature not above t_max_c
"""

MESSAGES: dict[str, MessageWords] = {
    **messages_of(_MESSAGES),
    **{
        f"{rule} {case}": MessageWords(accepted, how_to_fix="[[Did you mean {near!q}? ]]{of_column}")
        for rule in ("TK-V10", "TK-V11", "TK-V12", "TK-V13")
        for case, accepted in ACCEPTED.items()
    },
    **{f"TK-P04 {kind}".strip(): MessageWords(wanted, "[[{text!q}]][[{written}]]") for kind, wanted in VALUES.items()},
}
"""By rule and case."""


def told_problem(problem: Problem, *, at_desk: bool = False) -> ToldProblem:
    """Say what a problem is; at the desk no command is named."""
    known = by_name(problem.facts) | {"file": problem.file, "column": problem.column}
    said = said_of(problem.rule, problem.case, known, at_desk=at_desk)
    return ToldProblem(**vars(problem), found=said.found, expected=said.expected, how_to_fix=said.how_to_fix)


def problem_sentence(problem: Problem) -> str:
    """Say a problem and where it is on one line."""
    told = problem if isinstance(problem, ToldProblem) else told_problem(problem)
    place = [told.file]
    if told.row is not None:
        place.append(f"row {told.row}")
    if told.column is not None:
        place.append(f"column {told.column}" if told.file.endswith(".csv") else told.column)
    how_to_fix = " ".join(filter(None, (told.how_to_fix, _how_to_correct(told))))
    return f"{', '.join(place)}: {_without_place(told)} {how_to_fix} [{told.rule}]"


def fault_sentence(problem: Problem) -> str:
    """Say a problem beside the field that has it, whose place nobody need tell."""
    told = told_problem(problem, at_desk=True)
    said = _without_place(told)
    return f"{said[0].upper()}{said[1:]} {told.how_to_fix}"


def _without_place(told: ToldProblem) -> str:
    if told.found:
        return gettext("found {found}. Expected {expected}.", found=told.found, expected=told.expected)
    return gettext("expected {expected}.", expected=told.expected)


def _how_to_correct(problem: Problem) -> str:
    """Name the command that puts a cell right and keeps why, of rules about values that can be read."""
    keys = {"heads.csv": "BUCKET HEAD", "solution.csv": "BUCKET"}
    of_values = problem.rule[3] in "HS" or problem.rule == "TK-K03"
    key = problem.column in ("bucket", "head", "measured_on")
    if problem.file not in keys or not of_values or problem.row is None or key or problem.rule in NOTHING_TO_CORRECT:
        return ""
    return f"To correct it: trialkit correct DIR {keys[problem.file]} {problem.column}=VALUE --why TEXT."


def said_of(
    rule: str,
    case: str,
    facts: Mapping[str, Any],
    messages: Mapping[str, MessageWords] = MESSAGES,
    *,
    at_desk: bool = False,
) -> MessageWords:
    """Fill in the message of a case of a rule; a kind of value that we have no case for is told as pydantic does."""
    code = f"{rule} {case}".strip()
    message = messages.get(code) or MESSAGES.get(code) or MESSAGES[rule]
    instead = AT_THE_DESK if at_desk else {}
    known = {**facts, "of_rule": gettext(instead.get(rule, RULES[rule].how_to_fix))}
    if "measure" in facts:
        known |= budget_words(facts["measure"], facts["most"], facts.get("amount"))
    if "schema" in facts:
        known |= _of_schema(facts["schema"], facts["column"], known["of_rule"])
    if spoken() != ENGLISH:
        known |= _elsewhere(rule, facts)
    how_to_fix = say(instead.get(code, message.how_to_fix), known) or known["of_rule"]
    if rule in NO_TEXT and not facts["file"].endswith(".csv"):
        how_to_fix = gettext(NO_TEXT[rule])
    if rule == "TK-P01":
        how_to_fix = next((gettext(hint) for said, hint in TOML_HINTS.items() if said in facts["said"]), how_to_fix)
    expected, found, became = (say(text, known) for text in (message.expected, message.found, message.became))
    return MessageWords(expected, found, how_to_fix, became)


def _of_schema(table: Any, column: str | None, of_rule: str) -> dict[str, str]:
    """Return what the schema of a table says of it, and how to fix a column of it."""
    from trialkit.tables.table_schema import load_schema

    schema = load_schema(table)
    of_column = schema.field(column).how_to_fix if column is not None else None
    return {"of_table": gettext(schema.description), "of_column": gettext(of_column) if of_column else of_rule}


def _elsewhere(rule: str, facts: Mapping[str, Any]) -> dict[str, Any]:
    """Explain words that stay as a file has to have them, and say what libraries say in English alone."""
    told: dict[str, Any] = {name: _explained(facts[name]) for name in ("yes", "no", "outcome") if name in facts}
    if rule == "TK-P01":
        told["said"] = gettext("what no reader of TOML understands")
    if "choices" in facts:
        told["choices"] = tuple(map(_explained, facts["choices"]))
    if isinstance(facts.get("expected"), tuple):  # as pydantic lists what it accepts
        told["expected"] = tuple(one.replace("' or '", f"' {gettext('or')} '") for one in facts["expected"])
    return told


def _explained(word: str) -> str:
    """Say a word as a file has it, and what it means; one that is said as forms do stays as it is."""
    meaning = gettext(word.replace("_", " "))
    return word if meaning in (word, word.replace("_", " ")) else f"{word} ({meaning})"


def accepted_words(field: Field) -> str:
    """Say which values a column accepts, in the language that is spoken.

    Examples
    --------
    >>> from trialkit.tables.table_schema import load_schema
    >>> accepted_words(load_schema("heads").field("weight_g"))
    '1 to 2000 g'
    """
    kind, limits = field.accepted()
    known = {name: limit for name, limit in limits.items() if limit is not None}
    if kind == "either":
        known = {name: field.said(str(value)) for name, value in known.items()}
    return fill_in(gettext(ACCEPTED[kind]), known)
