"""What is said of repairs, questions and refusals, and what is remembered of them."""

from trialkit.documents.returns import Answers, ReturnFinding
from trialkit.returns.finding_log import Log, Place
from trialkit.returns.journal import notes_of
from trialkit.tables.problem import problem
from trialkit.words.repair_words import finding_sentence, told_finding

PLACE = Place("heads", 3, "bucket")


def only(log: Log) -> ReturnFinding:
    """Return a log's one finding."""
    (finding,) = log.findings
    return finding


def test_a_question_and_the_repair_that_its_acceptance_makes() -> None:
    """The same facts: asked, with the option that takes the proposal; noted, once that was given."""
    asked, accepted = Log("fern.csv"), Log("fern.csv", Answers(accepted=("TK-R25",)))
    for log in (asked, accepted):
        log.ask("TK-R25", PLACE, "bucket", text="335X", became="334X")
    assert finding_sentence(only(asked)) == (
        'fern.csv, sheet "heads", row 3, column bucket: "335X": the layout has no such bucket; 334X differs in one '
        "place. Look at the label, and see whether it is the one proposed. To take it so, add --accept TK-R25. [TK-R25]"
    )
    assert finding_sentence(only(accepted)).endswith(': "335X" was read as 334X: accepted by --accept TK-R25. [TK-R25]')
    assert only(asked).facts == only(accepted).facts


def test_a_cell_read_by_an_option_says_which() -> None:
    """No message of its own is needed."""
    log = Log("fern.csv")
    log.note("TK-R41", PLACE, option="--dates day-first", text="03/04/26", became="2026-04-03")
    assert finding_sentence(only(log)).endswith(
        '"03/04/26" was read as "2026-04-03": read by --dates day-first. [TK-R41]'
    )


def test_a_choice_that_breaks_a_rule_says_what_the_check_says() -> None:
    """And what else can be done about it."""
    log = Log("conflicts.json")
    found = problem("TK-H06", "heads.csv", row=2, column="harvested_on", text="2026-08-01")
    log.refuse_choice(found, table="heads", key="334X 1")
    told = told_finding(only(log))
    assert (told.found, told.why) == ('334X 1, harvested_on "2026-08-01"', "a date not before transplanted_on")
    assert told.how_to_fix == (
        "Look up both dates and correct them. Choose for the other cells of this row, too. Or correct the row of "
        "heads.csv: trialkit correct DIR BUCKET HEAD COLUMN=VALUE --why TEXT."
    )


def test_repairs_alike_but_for_the_cell_are_remembered_as_one() -> None:
    """With each cell's row, what it was and what it became; another unit is another note."""
    log = Log("fern.csv")
    for row, unit in ((2, "kg"), (3, "kg"), (4, "oz")):
        place = Place(None, row, "weight_g")
        log.note("TK-R35", place, "converted", text=f"0.{row} {unit}", became=str(row), unit=unit, factor="1000")
    first, second = notes_of(log.findings)
    assert first.cells == ((2, "0.2 kg", "2"), (3, "0.3 kg", "3"))
    assert {fact.name: fact.value for fact in second.facts} == {"unit": "oz", "factor": "1000"}
