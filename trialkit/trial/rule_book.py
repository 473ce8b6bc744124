"""Every rule that a trial folder is checked by: identity, severity, title, why it matters, how to mend it."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class RuleEntry:
    """What the documentation says of one rule."""

    identity: str
    severity: Literal["error", "warning"]
    title: str
    why: str
    mend: str


_ENTRIES: tuple[tuple[str, Literal["error", "warning"], str, str, str], ...] = (
    # Files
    (
        "TK-F01",
        "error",
        "A file is missing",
        "Later steps read it.",
        "Put the file into the trial folder under this name.",
    ),
    (
        "TK-F02",
        "error",
        "A file cannot be opened safely",
        "A link out of the trial folder could read anything on this computer.",
        "Put the file itself into the trial folder, and see that it can be read.",
    ),
    (
        "TK-F03",
        "error",
        "A file is too large",
        "No bucket trial needs it; something else was saved under this name.",
        "Check that the right file was saved, without pictures or other sheets.",
    ),
    (
        "TK-F04",
        "error",
        "A file is not UTF-8",
        "Names with accents would be spoiled silently.",
        'Save it again as "CSV UTF-8 (comma delimited)".',
    ),
    (
        "TK-F05",
        "error",
        "A file holds NUL bytes",
        "It was damaged, or is not a text file.",
        "Fetch the file again from whoever sent it, or save it again as CSV UTF-8.",
    ),
    (
        "TK-F06",
        "error",
        "A quotation mark is never closed",
        "Everything after it would be swallowed into one cell.",
        "Close the quotation mark, or take it out.",
    ),
    (
        "TK-F07",
        "error",
        "Columns are not separated by commas",
        "The whole row would be read as one cell.",
        "Save it again as comma separated values.",
    ),
    ("TK-F08", "error", "A table is empty", "There is nothing to read.", "Fill in the table, one row each."),
    (
        "TK-F09",
        "error",
        "A row and the header differ in length",
        "Cells could be read under the wrong heading.",
        'Put a cell that holds a comma into "quotation marks"; leave an empty cell empty, but keep its comma.',
    ),
    (
        "TK-F10",
        "error",
        "A workbook was renamed",
        "A workbook is not a CSV file, whatever its name.",
        'Open it in a spreadsheet program and save it as "CSV UTF-8 (comma delimited)".',
    ),
    # Headings
    ("TK-C01", "error", "A column is missing", "Later steps read it.", "Add the column, or correct its heading."),
    (
        "TK-C02",
        "error",
        "A column is not known",
        "A misspelt heading would lose its data silently.",
        "Correct the heading, or remove the column (remarks belong under note).",
    ),
    (
        "TK-C03",
        "error",
        "Two columns have the same heading",
        "It is not clear which one counts.",
        "Rename or remove one of them.",
    ),
    # Cells
    ("TK-V01", "error", "A cell must not be empty", "The row means nothing without it.", "Fill in the cell."),
    ("TK-V02", "error", "Not a number", "It cannot be counted with.", "Write the number in plain figures."),
    (
        "TK-V03",
        "error",
        "A unit is typed into the cell",
        "Another row may hold another unit.",
        "Write the number alone; the unit is in the heading.",
    ),
    (
        "TK-V04",
        "error",
        "A comma stands in a number",
        "It may part decimals or thousands.",
        "Write a point before decimals, and nothing between thousands.",
    ),
    ("TK-V05", "error", "Not a whole number", "It counts or numbers something.", "Write a whole number."),
    ("TK-V06", "error", "Not a date", "Days cannot be counted from it.", "Write year-month-day, such as 2026-08-20."),
    (
        "TK-V07",
        "error",
        "A date that can be read in several ways",
        "03/04/26 is March in one office and April in another.",
        "Write year-month-day, such as 2026-04-03.",
    ),
    (
        "TK-V08",
        "error",
        "A day that does not exist",
        "No calendar has it.",
        "Look up the day in the record and correct it.",
    ),
    ("TK-V09", "error", "Not yes or no", "Anything else would be guessed at.", "Write yes or no, or leave it empty."),
    (
        "TK-V10",
        "error",
        "Out of range",
        "Values beyond the range are slips of pen or unit.",
        "Look up the record and correct the value.",
    ),
    (
        "TK-V11",
        "error",
        "Not one of the allowed words",
        "A new spelling would become a new group.",
        "Use one of the words listed.",
    ),
    ("TK-V12", "error", "A text has the wrong form", "It would not match elsewhere.", "Correct the spelling."),
    ("TK-V13", "error", "A text is too long", "It does not fit on labels and pages.", "Shorten it."),
    (
        "TK-V14",
        "error",
        "A number that is not finite",
        "Nothing can be counted with it.",
        "Leave the cell empty when there is nothing to record.",
    ),
    (
        "TK-V15",
        "warning",
        "Unusual figures were read as plain ones",
        "They came from a word processor or another keyboard.",
        "Nothing need be done if the value is right; retyping it in plain figures ends this warning.",
    ),
    # Rows and links
    (
        "TK-K01",
        "error",
        "Two rows for the same thing",
        "It is not clear which one is true.",
        "Keep the true row, remove the other.",
    ),
    (
        "TK-K02",
        "error",
        "A name that its own table does not list",
        "A label was misread, or a row was forgotten.",
        "Correct the name, or add the row that is missing.",
    ),
    (
        "TK-K03",
        "error",
        "A date outside the trial",
        "The year or the month was mistyped.",
        "Correct the date, or trial.started_on in trial.toml.",
    ),
    # The protocol
    ("TK-P01", "error", "trial.toml cannot be read", "Nothing else can be checked.", "Correct the line named."),
    (
        "TK-P02",
        "error",
        "A key is not known",
        "A misspelt key would be ignored silently.",
        "Correct or remove the key.",
    ),
    ("TK-P03", "error", "A key is missing", "It has no sensible default.", "Add the key."),
    ("TK-P04", "error", "A value does not fit its key", "It cannot be used as it stands.", "Correct the value."),
    (
        "TK-P05",
        "error",
        "Current practice does not fit the factors",
        "Every comparison is with current practice.",
        "Under decision.current_practice, name one level of each factor that has two or more, and nothing else.",
    ),
    (
        "TK-P06",
        "error",
        "The whole-plot factor does not fit the layout",
        "A split-plot layout needs one, others have none.",
        "Set layout.whole_plot for a split-plot, to a factor with two or more levels; remove it otherwise.",
    ),
    (
        "TK-P07",
        "error",
        "Fewer than two treatments",
        "There is nothing to compare.",
        "Give at least one factor two levels.",
    ),
    (
        "TK-P08",
        "error",
        "A product that products.csv does not list",
        "Doses cannot be turned into grams or cost.",
        "Add the product to products.csv, or correct its name.",
    ),
    (
        "TK-P09",
        "error",
        "Too many treatments",
        "So many comparisons with current practice cannot be made with any certainty.",
        "Leave out a factor or some of its levels.",
    ),
    (
        "TK-P10",
        "error",
        "A key does not fit the kind of layout",
        "Each kind of layout is described by keys of its own; others would be ignored silently.",
        "Correct layout.kind, correct or add the key, or remove it.",
    ),
    (
        "TK-P11",
        "error",
        "A layout that cannot be made",
        "Blocks, rows and columns must fit the number of treatments, and compare all of them.",
        "Change this key, or the levels of the factors, until it fits.",
    ),
    # The layout
    (
        "TK-L01",
        "error",
        "A treatment that is not in the protocol",
        "It was not planned, or is misspelt.",
        "Correct layout.csv, or add the level to trial.toml.",
    ),
    (
        "TK-L02",
        "error",
        "Two buckets in the same place",
        "The bench plan cannot be right.",
        "Correct one of the positions.",
    ),
    (
        "TK-L03",
        "warning",
        "Bucket identities without a check character",
        "A misread label cannot be caught.",
        "Nothing need be done; identities made by the layout step carry a check character.",
    ),
    (
        "TK-L04",
        "error",
        "A whole plot does not fit a split-plot layout",
        "The whole-plot factor is randomised to whole plots.",
        "Number the whole plots within each block, one level of the whole-plot factor in each.",
    ),
    (
        "TK-L05",
        "warning",
        "The layout differs from the plan",
        "The comparison is less balanced than was planned.",
        "Nothing need be done if the change was meant; say so in the report.",
    ),
    (
        "TK-L06",
        "warning",
        "A site without buckets",
        "It adds nothing to the trial.",
        "Remove the site, or add its buckets.",
    ),
    (
        "TK-L07",
        "warning",
        "The layout is not that of the seed",
        "Labels and layout must belong together, and the report names the seed.",
        "If it was made elsewhere, nothing need be done; if trial.toml was changed after labelling, put it back.",
    ),
    (
        "TK-L08",
        "warning",
        "Treatments stand in one place only",
        "A difference between treatments could not be told from one between buckets, so nothing could be concluded.",
        "Give layout.blocks two or more, or add gardens.",
    ),
    (
        "TK-L09",
        "error",
        "A place is not filled in",
        "The analysis needs to know which buckets stood together.",
        "Fill in the column for each bucket, or correct layout.kind in trial.toml.",
    ),
    (
        "TK-L10",
        "warning",
        "The layout falls apart",
        "Treatments that no chain of blocks joins are compared between blocks only, which is far less certain.",
        "Lay it out anew with larger blocks or more of them, or move buckets before planting.",
    ),
    # The heads
    (
        "TK-H01",
        "error",
        "More heads than the bucket holds",
        "Rows of another bucket were entered under this one.",
        "Correct the bucket or the head, or bucket.heads in trial.toml.",
    ),
    (
        "TK-H02",
        "error",
        "Harvested, but no weight",
        "The weight is the answer to the trial.",
        "Enter the weight, or correct the outcome.",
    ),
    (
        "TK-H03",
        "error",
        "Harvested, but no date",
        "Days to harvest cannot be counted.",
        "Enter the date, or correct the outcome.",
    ),
    (
        "TK-H04",
        "error",
        "A weight for a head that was not cut",
        "Outcome and weight contradict each other.",
        "Empty the weight, or correct the outcome.",
    ),
    (
        "TK-H05",
        "error",
        "A harvest date for a head that was not cut",
        "Outcome and date contradict each other.",
        "Empty the date, or correct the outcome.",
    ),
    (
        "TK-H06",
        "error",
        "Harvested before transplanting",
        "The dates are exchanged or mistyped.",
        "Look up both dates and correct them.",
    ),
    (
        "TK-H07",
        "error",
        "Not ready after it was harvested, or before transplanting",
        "The dates are exchanged or mistyped.",
        "Look up the dates and correct them.",
    ),
    (
        "TK-H08",
        "warning",
        "A bucket without a row",
        "Lost buckets must be counted, not forgotten.",
        "Add a row for each head, with outcome dead or missing if need be.",
    ),
    (
        "TK-H09",
        "warning",
        "Fewer rows than heads planned",
        "Lost heads must be counted, not forgotten.",
        "Look for a row under a mistyped bucket first; then add a row for each head that was lost, with its outcome.",
    ),
    (
        "TK-H10",
        "warning",
        "A weight far from all others at its site",
        "A point or a unit may have slipped.",
        "Look up the record; nothing need be done if the weight is right.",
    ),
    (
        "TK-H11",
        "error",
        "Harvested impossibly long after transplanting",
        "The year or the month was mistyped.",
        "Look up both dates and correct the wrong one.",
    ),
    (
        "TK-H12",
        "warning",
        "Harvested far outside the planned window",
        "A date may have been mistyped.",
        "Look up both dates; nothing need be done if they are right.",
    ),
    # The solution
    (
        "TK-S01",
        "warning",
        "Not dosed as randomised",
        "The bucket was treated otherwise than planned.",
        "Look up the record; if the bucket was indeed dosed otherwise, say so in its note and the report.",
    ),
)

RULES: dict[str, RuleEntry] = {entry[0]: RuleEntry(*entry) for entry in _ENTRIES}
"""Every rule by its identity, in the order in which documentation should list them."""
