"""Every rule that a trial folder is checked by: identity, severity, title, why it matters, how to fix it.

``python -m trialkit.tables.rule_book`` prints the catalogue, which stands in reports/checks.md.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from trialkit.documents.problems import Severity

SEVERITIES: dict[str, Severity] = {"error": "error", "warning": "warning"}


@dataclass(frozen=True)
class RuleEntry:
    """What the documentation says of one rule."""

    identity: str
    severity: Severity
    title: str
    why: str
    how_to_fix: str


def _read(text: str) -> Iterator[RuleEntry]:
    """Read rules of three lines each: identity, severity and title; why it matters; how to fix it."""
    told = [line.strip() for line in text.splitlines() if line and not line.startswith("#")]
    for first, why, how_to_fix in zip(told[::3], told[1::3], told[2::3], strict=True):
        head, _, title = first.partition(": ")
        identity, severity = head.split()
        yield RuleEntry(identity, SEVERITIES[severity], title, why, how_to_fix)


_RULES = """
# Files
TK-F01 error: A file is missing
  Later steps read it.
  Put the file into the trial folder under this name.
TK-F02 error: A file cannot be opened safely
  A link out of the trial folder could lead to anything on this computer.
  Put the file itself into the trial folder, and make sure that it can be read.
TK-F03 error: A file is too large
  No bucket trial needs it. Something else was saved under this name.
  Check that the right file was saved, without pictures or other sheets.
TK-F04 error: A file is not UTF-8
  Names with accents would be spoiled without a word.
  Save it again in UTF-8: a table as "CSV UTF-8 (comma delimited)", trial.toml as plain text.
TK-F05 error: A file holds NUL bytes
  It was damaged, or is not a text file.
  Ask for the file again, or save it again in UTF-8. Save a table as "CSV UTF-8", and trial.toml as plain text.
TK-F06 error: A quotation mark is never closed
  Everything after it would be read as one cell.
  Close the quotation mark, or take it out.
TK-F07 error: Columns are separated by commas in some rows only
  A whole row would be read as one cell.
  Save it again as comma separated values.
TK-F08 error: A table is empty
  There is nothing to read.
  Fill in the table, one row each.
TK-F09 error: A row and the header differ in length
  Cells could be read under the wrong heading.
  Put a cell that holds a comma into "quotation marks". Leave an empty cell empty, but keep its comma.
TK-F10 error: A workbook was renamed
  A workbook is not a CSV file, whatever its name.
  Open it in a spreadsheet program and save it as "CSV UTF-8 (comma delimited)".
TK-F11 warning: A table that a spreadsheet program saved in its own way
  Its dates, decimals or names are written in another way. All can be read in one way only, and are read so.
  Nothing to do if it is read rightly. trialkit merge DIR writes heads, solution and visits as they were.
TK-F12 error: A table that a spreadsheet program saved so that it can be read in several ways
  Nobody can tell for sure what its cells were, so none of them is read.
  Put the file back from a copy, then correct single values: trialkit correct DIR BUCKET HEAD COLUMN=VALUE --why \
TEXT. Or show dates as year-month-day and names as text in the spreadsheet program, and save it as "CSV UTF-8".

TK-F13 error: A rule that could not be followed
  What it looks for was not looked for, so the records cannot be called right.
  Put the other problems right and check again. If this one stays, it is a fault of trialkit: report it.
TK-F14 error: Results that cannot be read
  The report, the data package and the ledger are made from them.
  Run trialkit analyse on the folder again. It makes them anew from the records.

# Headings
TK-C01 error: A column is missing
  Later steps read it.
  Add the column, or correct its heading.
TK-C02 error: A column is not known
  A misspelt heading would lose its data without a word.
  Correct the heading, or remove the column. Remarks belong under note.
TK-C03 error: Two columns have the same heading
  It is not clear which one counts.
  Rename or remove one of them.

# Cells
TK-V01 error: A cell must not be empty
  The row means nothing without it.
  Fill in the cell.
TK-V02 error: Not a number
  It cannot be counted with.
  Write the number in plain figures.
TK-V03 error: A unit is typed into the cell
  Another row may hold another unit.
  Write the number alone. The unit is in the heading.
TK-V04 error: A number with a comma
  It may be a decimal separator or separate thousands.
  Write a point before decimals, and nothing between thousands.
TK-V05 error: Not a whole number
  It counts or numbers something.
  Write a whole number.
TK-V06 error: Not a date
  Days cannot be counted from it.
  Write year-month-day, such as 2026-08-20.
TK-V07 error: A date that can be read in several ways
  03/04/26 is March in one office and April in another.
  Write year-month-day, such as 2026-04-03.
TK-V08 error: A day that does not exist
  No calendar has it.
  Look up the day in the record and correct it.
TK-V09 error: Not yes or no
  Anything else would be a guess.
  Write yes or no, or leave it empty.
TK-V10 error: Out of range
  A value beyond the range is a slip of pen or unit.
  Look up the record and correct the value.
TK-V11 error: Not one of the allowed words
  A new spelling would become a new group.
  Use one of the words listed.
TK-V12 error: A text has the wrong form
  It would not match elsewhere.
  Correct the spelling.
TK-V13 error: A text is too long
  It does not fit on labels and pages.
  Shorten it.
TK-V14 error: A number that is not finite
  Nothing can be counted with it.
  Leave the cell empty when there is nothing to record.
TK-V15 warning: Unusual figures were read as plain ones
  They came from a word processor or another keyboard.
  Nothing to do if the value is right. To end this warning, type it again in plain figures.

# Rows and links
TK-K01 error: Two rows for the same thing
  It is not clear which one is true.
  Keep the true row, remove the other.
TK-K02 error: A name that its own table does not list
  A label was misread, or a row was forgotten.
  Correct the name, or add the row that is missing.
TK-K03 error: A date outside the trial
  The year or the month was mistyped.
  Correct the date, or trial.started_on in trial.toml.
TK-K04 warning: Two gardens of one name
  A return under this name could come from either garden, so it cannot be merged.
  Give each garden a name of its own in sites.csv.

# The protocol
TK-P01 error: trial.toml or county.toml cannot be read
  Nothing else can be checked.
  Correct the line named.
TK-P02 error: A key is not known
  A misspelt key would be ignored without a word.
  Correct or remove the key.
TK-P03 error: A key is missing
  It has no sensible default.
  Add the key.
TK-P04 error: A value does not fit its key
  It cannot be used as it is.
  Correct the value.
TK-P05 error: Current practice does not fit the factors
  Every treatment is compared with the current practice.
  Under decision.current_practice, name one level of each factor that has two or more, and nothing else.
TK-P06 error: The whole-plot factor does not fit the layout
  A split-plot layout needs one, others have none.
  For a split-plot, set layout.whole_plot to a factor with two or more levels. Remove it from any other layout.
TK-P07 error: Fewer than two treatments
  There is nothing to compare.
  Give at least one factor two levels.
TK-P08 error: A product that products.csv does not list
  Doses cannot be turned into grams or cost.
  Add the product to products.csv, or correct its name.
TK-P09 error: Too many treatments
  So many comparisons with the current practice cannot be made with any certainty.
  Leave out a factor or some of its levels.
TK-P10 error: A key does not fit the kind of layout
  Each kind of layout has keys of its own. Others would be ignored without a word.
  Correct layout.kind, correct or add the key, or remove it.
TK-P11 error: A layout that cannot be made
  Blocks, rows and columns must fit the number of treatments, and compare all of them.
  Change this key, or the levels of the factors, until it fits.
TK-P12 error: Parts of a feed that cannot be counted
  The nitrogen, calcium and magnesium of a dose would be told wrongly.
  Name each part as products.csv does. Give its label and the grams of a level teaspoon there.
TK-P13 warning: Too little calcium for lettuce
  Young leaves that grow fast on little calcium turn brown at their edges (tipburn), whatever else they are given.
  Add calcium nitrate under [factors.dose.parts], or give the water's calcium (calcium_mg_l in sites.csv).
TK-P14 warning: More water than the bucket holds with an air gap
  So full a bucket spills when it is moved, and no air gap is left for the roots.
  Pour in measured water up to two or three inches (5 to 7.5 cm) below the brim. Write that volume into bucket.volume_l.
TK-P15 error: A logo that pages cannot carry
  Every page holds the picture itself, so it must be safe to show, and small.
  Save the logo again as a PNG picture, or leave it out.

# The layout
TK-L01 error: A treatment that is not in the protocol
  It was not planned, or is misspelt.
  Correct layout.csv, or add the level to trial.toml.
TK-L02 error: Two buckets in the same place
  The map of the bench cannot be right.
  Correct one of the positions.
TK-L03 warning: Bucket labels without a check character
  Nobody would notice a misread label.
  Nothing to do. Labels that trialkit layout makes have a check character.
TK-L04 error: A whole plot does not fit a split-plot layout
  The whole-plot factor is given to whole plots by lot.
  Number the whole plots within each block, one level of the whole-plot factor in each.
TK-L05 warning: The layout differs from the plan
  The comparison is less balanced than was planned.
  Nothing to do if the change was meant. Say so in the report.
TK-L06 warning: A garden without buckets
  It adds nothing to the trial.
  Remove the garden. If the trial has begun and it takes part, let trialkit site lay it out.
TK-L07 warning: The layout is not that of the seed
  Treatments that somebody chose may have got the better places. Labels and layout must belong together, too.
  If it was made elsewhere, there is nothing to do. If trial.toml was changed after labelling, put it back.
TK-L08 warning: Each treatment is in one place only
  Nobody could tell a difference between treatments from one between buckets, so there would be no answer.
  Give layout.blocks two or more, or add gardens.
TK-L09 error: A place is not filled in
  The analysis needs to know which buckets stood together.
  Fill in the column for each bucket, or correct layout.kind in trial.toml.
TK-L10 warning: The layout falls apart
  Treatments that no chain of blocks joins are compared between blocks only, which is far less certain.
  Lay it out again with larger blocks or more of them, or move buckets before planting.
TK-L11 error: Amendments of the layout that do not follow each other
  Forms carry the version of the layout that they were made from.
  Restore amendments.csv from a copy. Only trialkit site writes it.
# The heads
TK-H01 error: More heads than the bucket holds
  Rows of another bucket were entered under this one.
  Correct the bucket or the head, or bucket.heads in trial.toml.
TK-H02 error: Harvested, but no weight
  The weight is the answer to the trial.
  Enter the weight, or correct the outcome. If nobody weighed the head, its outcome is not_weighed. It then counts as \
a marketable head, and the bucket's weight comes from its others.
TK-H03 error: Harvested, but no date
  Days to harvest cannot be counted.
  Enter the date, or correct the outcome.
TK-H04 error: A weight for a head that was not cut
  Outcome and weight contradict each other.
  Empty the weight, or correct the outcome.
TK-H05 error: A harvest date for a head that was not cut
  Outcome and date contradict each other.
  Empty the date, or correct the outcome.
TK-H06 error: Harvested before transplanting
  The dates are exchanged or mistyped.
  Look up both dates and correct them.
TK-H07 error: Not ready after it was harvested, or before transplanting
  The dates are exchanged or mistyped.
  Look up the dates and correct them.
TK-H08 warning: A bucket without a row
  Heads that died must be counted. Heads of which nobody knows are left out of the answer, which says how many.
  Ask what became of them. If nobody knows, there is nothing to do. A bucket without a row has no record, as if its \
heads said gave_up.
TK-H09 warning: Fewer rows than heads planned
  Heads that died must be counted. Heads of which nobody knows are left out of the answer, which says how many.
  First look for a row under a mistyped bucket. Add a row for each head whose fate somebody knows. If nobody does, \
there is nothing to do.
TK-H10 warning: A weight far from all others in its garden
  A point or a unit may have slipped.
  Look up the record. If the weight is right, there is nothing to do.
TK-H11 error: Harvested impossibly long after transplanting
  The year or the month was mistyped.
  Look up both dates and correct the wrong one.
TK-H12 warning: Harvested far outside the planned time
  A date may have been mistyped.
  Look up both dates. If they are right, there is nothing to do.
TK-H13 warning: A garden's weights look like another unit
  Ounces taken for grams make a garden seem to have failed.
  Ask what the scale showed, and convert the garden's weights to grams.
TK-H14 warning: Weights rounded to 5 or 10 g
  Rounding hides small differences. It shows that the scale was not read to the gram.
  Nothing can be fixed afterwards. Next time, ask for the weight to the gram, or for a finer scale.
TK-H15 warning: The same weights again
  Rows that were copied down or filled in from memory look like this.
  Look up the record. If the weights are right, there is nothing to do.
TK-H16 warning: Grew faster than lettuce can
  A point, a unit or a date has slipped.
  Look up the weight and both dates, and correct the wrong one.
TK-H17 warning: Losses follow the treatment
  Where a treatment kills heads, the weights of those that are left flatter it.
  If the outcomes are right, there is nothing to do. The answer counts a lost head as zero.
TK-H18 error: A harvest without an outcome
  A head that was cut counts in another way than one of which nobody knows.
  Write harvested, or what else became of the head. Or empty the other cells.
TK-H19 error: No day of transplanting
  Days to harvest cannot be counted. The outcome says that the head stood in a bucket, so it has such a day.
  Enter the day. A head that never went into its bucket has the outcome never_planted.
TK-H20 warning: Nobody wrote what became of some heads
  They are left out of the answer. It says how many they are, and whether they could turn it.
  Write what became of each, if somebody knows. If nobody does, leave them empty: that says as much as gave_up or \
missing.
TK-H21 warning: Not planted as assigned
  The bucket was treated in another way than planned. It still counts as assigned, and the report lists it.
  Look up the record, and correct it if it is wrong. If the head was planted so, say why in the note of this row.
TK-H22 warning: A departure in planting, and its record says why
  The bucket counts as assigned. The report lists it, and says what would follow from what was really done.
  Nothing to do.

# The solution
TK-S01 warning: Not mixed as assigned
  The bucket was treated in another way than planned. It still counts as assigned, and the report lists it.
  Look up the record, and correct it if it is wrong. If the bucket was mixed so, say why in the note of this row.
TK-S02 warning: A departure in mixing, and its record says why
  The bucket counts as assigned. The report lists it, and says what would follow from what was really done.
  Nothing to do.
TK-S03 warning: pH rose although acid was added
  The two readings are exchanged, a strip was misread, or the acid went elsewhere.
  Look up both readings. If they are right, there is nothing to do.
TK-S04 warning: Conductivity does not fit the dose
  The bucket got another dose, or the meter was read in another unit.
  Look up the dose and the reading, and correct the wrong one.
TK-S05 warning: Measured after the bucket's last harvest
  A date or a bucket was mistyped.
  Look up the dates and the bucket, and correct the wrong one.
TK-S06 warning: pH far from what the water and the acid make
  The acid went elsewhere, a strip was misread, or the water is not what sites.csv says.
  Look up the readings and the acid. If many buckets of a garden are named, test the alkalinity of its water.
TK-S07 warning: A garden's conductivities look like another unit
  Meters that show parts per million divide by a factor of their own.
  Ask which unit the meter showed, and convert the garden's readings to mS/cm.
TK-S08 error: No acid of the kitchen
  Vinegar of 20 to 30 %, sold for cleaning and against weeds, burns skin and can blind. Below 4 % it is no vinegar.
  Use white vinegar of 4 to 10 %, such as 5 %, or citric acid powder. For another acid, go by its own label alone.
TK-S09 warning: Water beyond what acid can serve
  So much acid is food for microbes, which use up the oxygen, and the pH climbs back.
  Fill these buckets with reverse-osmosis or distilled water, or a blend. Write the alkalinity of that into sites.csv.
TK-S12 warning: A volume far from the fill line
  How strong the dose is depends on the volume. One so far off is taken for a slip, and the protocol's is used.
  Correct the volume, in litres. 5 US gallons are 18.9 L.

# Returned files
TK-R01 warning: A file in another encoding was read
  Otherwise accents would be spoiled without a word.
  Nothing to do if the names below look right. "CSV UTF-8" avoids this.
TK-R02 error: Accents look spoiled
  The file was saved once in one encoding and opened in another.
  Look at the words, and say whether they should be as proposed.
TK-R03 warning: Columns separated by another mark were read
  Spreadsheet programs separate columns as the country is used to.
  Nothing to do.
TK-R04 warning: The name says one kind of file, the content another
  A workbook that is renamed is still a workbook.
  Nothing to do. Next time, give the file its proper ending.
TK-R05 error: Not a file that can be read
  It was damaged on its way, or is something else.
  Ask for the file again: a workbook (.xlsx), a CSV file, or the file that the phone form saved.
TK-R06 error: A locked workbook, or one of an old format
  Nothing can be read without the password. The old format (.xls) is not read either.
  Open it in a spreadsheet program, take off the password, and save it as a workbook (.xlsx).
TK-R07 error: A returned file is too large
  No garden's record is so large. Something else was saved with it, or the file was made to do harm.
  Copy the rows with records into a new sheet. Save that sheet and merge it instead.
TK-R08 error: A returned file has no records
  There is nothing to merge.
  Ask whether the right file was sent.
TK-R09 error: A returned file has a quotation mark that is never closed
  Everything after it would be read as one cell.
  Close the quotation mark, or take it out.
TK-R10 error: No table of this trial
  Rows can only be read under the headings of the record.
  Put the headings of the record into the first row, such as bucket, head, weight_g.
TK-R11 error: Lines above the header
  Such a line may be a title, or a record that lost its place.
  See whether these lines hold records.
TK-R12 warning: Blank rows or columns, or mixed line ends, were passed over
  Spreadsheet programs leave them behind.
  Nothing to do.
TK-R13 error: A row of totals
  It would be taken for a head of lettuce.
  Take the row out.
TK-R14 error: Two tables on one sheet
  It is not clear where one ends.
  Put each table on a sheet, or into a file, of its own.
TK-R15 error: Merged cells
  Nobody can tell a cell merged over several rows from one value and empty cells.
  Undo the merging, and write the value into each row that it stands for.
TK-R16 error: Colours or remarks on cells
  What they mean is not in any cell, so it would be lost.
  If they mean something, write it into the cells (under outcome or note).
TK-R17 error: Hidden rows, columns or sheets
  They may have been hidden because they do not count, or because they do.
  Look at them.
TK-R18 error: A formula without its value, or a value that is an error
  There is no value to be read.
  Open the file in a spreadsheet program, replace the formula by its value, and save it.
TK-R19 warning: A heading was read as the one meant
  Capitals, blanks and titles in place of names do no harm.
  Nothing to do.
TK-R20 error: Two columns of a return have the same heading
  It is not clear which one counts.
  Rename or remove one of them.
TK-R21 error: A heading that is almost right
  A guess could put values into the wrong column.
  See whether the column is the one proposed. To name another: --heading "TEXT=COLUMN".
TK-R22 error: A column that the record does not have
  It would be lost from the tables.
  See whether it is needed. What matters belongs under note. To say which column it is: --heading "TEXT=COLUMN".
TK-R23 error: A row of a return and its header differ in length
  Cells could be read under the wrong heading.
  Put a cell that holds a comma into "quotation marks". Leave an empty cell empty, but keep its comma.
TK-R24 error: One column for each week or head
  The record has one row for each, with the day in a column.
  Write one row for each measurement.
TK-R25 error: A label that may be misread
  One wrong character would give the record to another bucket.
  Look at the label, and see whether it is the one proposed.
TK-R26 error: A label that lost its leading zeros
  A spreadsheet program took it for a number.
  See whether it is the label proposed.
TK-R27 error: A label that was made a number or a date
  Nobody can see any more what the label was.
  Format the column as text, and type the label again as it is on the bucket.
TK-R28 warning: A label was read as the one meant
  Layout and check character agree on one label only.
  Nothing to do.
TK-R29 warning: Marks around a value were taken off
  Quotation marks, blanks and invisible characters come from word processors and phones.
  Nothing to do.
TK-R30 error: A label that the layout does not have
  The record cannot be given to any bucket.
  Look at the label and correct it.
TK-R31 error: Two different rows for the same thing
  It is not clear which one is true.
  Keep the true row, remove the other.
TK-R32 error: A planned bucket has no row
  Lost buckets must be counted, not forgotten.
  Ask for its rows. Heads that died have the outcome dead. Heads of which nobody knows need no row.
TK-R33 warning: Commas were read as decimal separators
  All numbers of the sheet agree.
  Nothing to do.
TK-R34 error: Decimal or thousands separator
  The mark between figures can be read in two ways.
  Look at the record and see what was meant.
TK-R35 warning: A unit in a cell was taken off or converted
  The column has a unit of its own.
  Nothing to do if the value is right.
TK-R36 error: Numbers that look like another unit
  Grams, kilograms and ounces differ by far more than heads of lettuce do.
  Ask what the scale showed.
TK-R37 error: Not one number
  About, more than and from-to cannot be counted with.
  Write the value that was read. Or leave the cell empty and say why under note.
TK-R38 warning: Figures of another script were read
  They stand for the same numbers.
  Nothing to do.
TK-R39 warning: A word for nothing, or for not known, was read as an empty cell
  In this column it can mean nothing else. What is not known never counts as zero.
  Nothing to do, unless somebody knows it after all.
TK-R40 warning: The same row twice
  Both say the same, so one is enough.
  Nothing to do.
TK-R41 error: Day first or month first
  03/04/26 is March in one office and April in another.
  Ask the person who wrote it, or look at other dates of theirs.
TK-R42 error: A day count in place of a date
  Spreadsheet programs count days from 1900 or from 1904.
  See which of the dates can be right.
TK-R43 warning: A date was rewritten as year-month-day
  It can be read in one way only.
  Nothing to do if the dates are right.
TK-R44 warning: The value of a formula was taken
  The formula itself is not kept in the tables.
  Nothing to do if the value is right.
TK-R45 error: Columns that seem to be exchanged
  Every row contradicts itself, and would not if two headings were exchanged.
  Look at the record.
TK-R46 error: A sheet that is no table of the record
  What is on it would be lost.
  See whether it is needed. Records belong under the headings of the record.
TK-R47 error: A form of another trial or another layout
  The same label may mean another treatment there.
  Look for the forms of this trial. If the layout was made again, ask the adviser who made it.
TK-R48 error: A phone file was changed or cut off
  Its check sum no longer fits, so records may be missing or wrong.
  Ask for it again: open the form on the phone, and save or copy it once more.
TK-R49 error: A word that is almost one of those allowed
  A guess could change what became of a head.
  See whether the word is the one proposed.
TK-R50 warning: A word was read as one of those allowed
  Capitals, blanks and ticks do no harm.
  Nothing to do.
TK-R51 error: Two returns say different things
  Neither may overwrite the other without a word.
  Look at the paper record, then choose.
TK-R52 warning: Rows that are not complete yet
  A later return may fill them in.
  Nothing to do until the trial ends. trialkit check lists them.
TK-R53 error: Dates of two kinds in one column
  A spreadsheet program may have exchanged day and month where it could read the date, and left the others.
  Compare some with the paper record.
TK-R54 warning: A sheet was recognised by its headings
  Its name is not that of a table.
  Nothing to do.
TK-R55 error: A command that was stopped half-way
  The files may be partly old and partly new.
  Run trialkit merge on the folder. It finishes what was begun.
TK-R56 error: A choice that cannot be made
  There is no such conflict, or the value does not fit.
  Look at the list of conflicts again. Or correct the whole row: trialkit correct DIR BUCKET HEAD COLUMN=VALUE \
--why TEXT.
TK-R57 error: A bucket of another garden
  A form of one garden holds a row of another's bucket. A label may be misread.
  Look at the label.
TK-R58 warning: Words around a phone's record were passed over
  A message has more in it than the record.
  See whether the words say anything that belongs under a note.
TK-R59 error: What is kept of returns and corrections cannot be read
  It holds how returns were read, what they said otherwise, and what was corrected and why.
  Restore the file from a copy. Only trialkit merge and trialkit correct write it. If there is no copy, move it away \
and merge the originals in returned again. Its choices and corrections are then lost.
TK-R60 warning: Records changed by hand after a merge or a correction wrote them
  Nobody can tell what they were and why they were changed. A later return may say something else.
  Put the file back from a copy, then correct values: trialkit correct DIR BUCKET HEAD COLUMN=VALUE --why TEXT. If it \
is right as it is, trialkit merge DIR takes it so.
TK-R61 warning: A value that was decided against before was left out
  A file that was saved before a correction or a choice still says what was wrong.
  Nothing to do. If the value is right after all, give it by itself: trialkit correct DIR BUCKET HEAD COLUMN=VALUE \
--why TEXT.

# Weather
TK-T01 error: The lowest temperature of a day is above its highest
  Degree days are counted from both.
  See whether the two were swapped, or a sign left out.
"""

RULES: dict[str, RuleEntry] = {entry.identity: entry for entry in _read(_RULES)}
"""Every rule by its identity, in the order in which documentation should list them."""

GROUPS = {
    "F": "Files",
    "C": "Headings",
    "V": "Cells",
    "K": "Rows and links",
    "P": "The protocol, trial.toml",
    "L": "Gardens and layout",
    "H": "Heads",
    "S": "Solution",
    "T": "Weather",
    "R": "Returned files",
}
"""What the letter of an identity stands for."""


def catalogue() -> str:
    """Write the documentation page of all rules, in Markdown."""
    lines = [
        "# What trialkit checks",
        "",
        "`trialkit check` tells every problem at once, each with the code of its rule. An error stops the analysis.",
        "A warning asks for a second look and stops nothing. To put a value of heads.csv right:",
        "`trialkit correct DIR BUCKET HEAD COLUMN=VALUE --why TEXT`. For solution.csv, leave out HEAD. To correct many",
        "values, merge a file of them: `trialkit merge DIR FILE --why TEXT`. Both ways keep what the record said",
        "before, and why it was changed. This page is made from the rules themselves, by",
        "`python -m trialkit.tables.rule_book > reports/checks.md`. A test compares the two.",
    ]
    for letter, title in GROUPS.items():
        entries = [entry for entry in RULES.values() if entry.identity[3] == letter]
        if entries:
            lines += [
                "",
                f"## {title}",
                "",
                "| rule | what is found | | why it matters | how to fix it |",
                "|---|---|---|---|---|",
            ]
            lines += [
                f"| {e.identity} | {e.title} | {e.severity} | {e.why} | {e.how_to_fix} |".replace("<", "&lt;")
                for e in entries
            ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(catalogue(), end="")
