"""Reading trial.toml: every mistake in an adviser's words, with its line."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from english_left import english_said
from trialkit.documents.problems import Problem
from trialkit.languages import speaking
from trialkit.layouts.kinds import LAYOUT_KINDS
from trialkit.protocol.protocol_schema import protocol_schema_text
from trialkit.protocol.sections import MOST_G, LayoutKindName
from trialkit.protocol.trial_protocol import parse_protocol, read_protocol
from trialkit.tables.problem import TrialError
from trialkit.words.problem_words import fault_sentence, problem_sentence, told_problem

Swap = tuple[str, str]
KEYS = ("trial, factors, bucket, layout, schedule",)
PRACTICE = 'current_practice = { cultivar = "Larkmoor Butter", dose = 4 }'


def damaged(text: str, *swaps: Swap) -> tuple[Problem, ...]:
    """Return the problems of a protocol after some replacements."""
    for old, new in swaps:
        assert old in text
        text = text.replace(old, new, 1)
    with pytest.raises(TrialError) as caught:
        parse_protocol(text)
    return caught.value.problems


@pytest.mark.parametrize(
    ("swap", "rule", "row", "path", "words"),
    [
        (("[layout]", "[layuot]"), "TK-P02", 21, "layuot", 'Did you mean "layout"?'),
        (("blocks = 2", 'blocks = "2"'), "TK-P04", 23, "layout.blocks", "a whole number, without quotation marks"),
        (("blocks = 2", "blocks = 0"), "TK-P04", 23, "layout.blocks", "at least 1"),
        (("blocks = 2", "blocks = true"), "TK-P04", 23, "layout.blocks", "a whole number"),
        (("seed = 20260820", "seed = -1"), "TK-P04", 24, "layout.seed", "at least 0"),
        (("randomised complete", "randomized complete"), "TK-P04", 22, "layout.kind", "'split-plot'"),
        (("2026-08-20", '"2026-08-20"'), "TK-P04", 6, "trial.started_on", "a date such as 2026-08-20"),
        (("2026-08-20", "2026-08-20T10:00:00"), "TK-P04", 6, "trial.started_on", "a date such as 2026-08-20"),
        (('"autumn-dose"', '"Autumn Dose"'), "TK-P04", 2, "trial.id", "small letters"),
        (("Which dose grows the heaviest heads?", " "), "TK-P04", 4, "trial.question", "some text"),
        (("Autumn dose trial", "x" * 1001), "TK-P04", 3, "trial.title", "at most 1000 characters"),
        (("Autumn dose", "\\u001b[2J"), "TK-P04", 3, "trial.title", "text without control characters"),
        (("autumn 2026", "autumn\\n2026"), "TK-P04", 5, "trial.season", "one line of text"),
        (("[2, 4]", "[4, 2]"), "TK-P04", 15, "factors.dose.levels", "increasing"),
        (("[2, 4]", "[2, 4, 4]"), "TK-P04", 15, "factors.dose.levels", "each level once"),
        (("[2, 4]", '["2", 4]'), "TK-P04", 15, "factors.dose.levels", "numbers of teaspoons"),
        (("[2, 4]", "[2, inf]"), "TK-P04", 15, "factors.dose.levels.2", "finite"),
        (("[2, 4]", "[2, 4, [6]]"), "TK-P04", 15, "factors.dose.levels.3", "a text or a number"),
        (("[2, 4]", "[]"), "TK-P04", 15, "factors.dose.levels", "at least 1 in the list"),
        (("[2, 4]", "2"), "TK-P04", 15, "factors.dose.levels", "[square brackets]"),
        (('"NA"', "7"), "TK-P04", 12, "factors.cultivar.levels", "quotation marks"),
        (('"NA"', '"two\\nlines"'), "TK-P04", 12, "factors.cultivar.levels.2", "one line of text"),
        (("[factors.dose]", "[factors.doze]"), "TK-P02", 14, "factors.doze", 'Did you mean "dose"?'),
        (("[28, 56]", "[56, 28]"), "TK-P04", 27, "schedule.harvest_after_days", "the earlier day first"),
        (("dose = 4", "dose = 3"), "TK-P05", 30, "decision.current_practice.dose", "one of 2, 4"),
        ((", dose = 4", ""), "TK-P05", 30, "decision.current_practice.dose", "found nothing"),
        (("dose = 4", 'dose = 4, acidifier = "citric acid"'), "TK-P05", 30,
         "decision.current_practice.acidifier", "its only level, 'white vinegar 5 %'"),
        ((PRACTICE, ""), "TK-P03", 29, "decision.current_practice", "Expected the key current_practice"),
        (("blocks = 2", 'blocks = 2\nwhole_plot = "dose"'), "TK-P06", 24, "layout.whole_plot", "no whole-plot factor"),
        (("randomised complete blocks", "split-plot"), "TK-P06", 21, "layout.whole_plot", "found none"),
        (('"randomised complete blocks"', '"split-plot"\nwhole_plot = "acidifier"'), "TK-P06", 23, "layout.whole_plot",
         "two or more levels"),
    ],
)  # fmt: skip
def test_each_mistake_is_told_with_its_line(
    good_protocol: str, swap: Swap, rule: str, row: int, path: str, words: str
) -> None:
    """A mistake in trial.toml gives its key, its line and what should stand there."""
    problems = damaged(good_protocol, swap)
    assert (rule, row, path) in [(p.rule, p.row, p.column) for p in problems]
    assert words in "\n".join(map(problem_sentence, problems))
    with speaking("es"):
        assert english_said(map(fault_sentence, problems), KEYS) == []


def test_all_mistakes_are_told_at_once(good_protocol: str) -> None:
    """Several mistakes come in one go, in the order of the lines."""
    swaps = [("blocks = 2", "blocks = 2.5"), ("seed = ", "sead = "), ('"autumn-dose"', "7"), ("[28, 56]", "[56, 28]")]
    assert [p.row for p in damaged(good_protocol, *swaps)] == [2, 23, 24, 27]


def test_a_misspelt_key_hides_nothing(good_protocol: str) -> None:
    """An unknown key, a wrong value and a broken rule between sections are told together."""
    text = good_protocol.replace("[decision]", "[decision]\nmargn_g = 5").replace("dose = 4", "dose = 3")
    problems = damaged(text, ("blocks = 2", 'blocks = "2"'))
    assert [(p.rule, p.column) for p in problems] == [
        ("TK-P04", "layout.blocks"),
        ("TK-P02", "decision.margn_g"),
        ("TK-P05", "decision.current_practice.dose"),
    ]


@pytest.mark.parametrize(
    ("swap", "rule", "path"),
    [
        (("[2, 4]", "[2, inf]"), "TK-P04", "factors.dose.levels.2"),
        (("[factors.dose]", "[factors.doze]"), "TK-P02", "factors.doze"),
        (("dose = 4", "dosse = 4"), "TK-P02", "decision.current_practice.dosse"),
        (("randomised complete blocks", 'split plot"\nwhole_plot = "dose'), "TK-P04", "layout.kind"),
        (('question = "Which', 'question = 5 # "Which'), "TK-P04", "trial.question"),
    ],
)
def test_what_merely_follows_from_a_mistake_is_not_told(good_protocol: str, swap: Swap, rule: str, path: str) -> None:
    """A mistake in what the rules between sections stand on does not make them blame what is right."""
    assert [(p.rule, p.column) for p in damaged(good_protocol, swap)] == [(rule, path)]


def test_a_short_key_hides_no_longer_one(good_protocol: str) -> None:
    """An unknown key whose name begins another's is told beside it."""
    swaps = [("[trial]", "d = 1\n[trial]"), ("dose = 4", "dose = 3")]
    assert [p.column for p in damaged(good_protocol, *swaps)] == ["d", "decision.current_practice.dose"]


def test_seed_defaults_to_one_of_the_trials_own(good_protocol: str) -> None:
    """Without a seed one is derived from the id and the question: the same every time, another for another trial."""
    text = good_protocol.replace("seed = 20260820\n", "")
    seed = parse_protocol(text).seed
    assert seed == parse_protocol(text).seed
    assert seed != parse_protocol(text.replace("heaviest", "lightest")).seed
    assert parse_protocol(good_protocol).seed == 20260820


def test_current_practice_may_name_a_fixed_factor(good_protocol: str) -> None:
    """Naming the only level of a factor that does not vary is no mistake."""
    assert parse_protocol(good_protocol.replace("dose = 4", 'dose = 4, acidifier = "white vinegar 5 %"'))


def test_one_treatment_is_no_trial(good_protocol: str) -> None:
    """With one level of each factor there is nothing to compare."""
    swaps = [("[2, 4]", "[4]"), (', "NA"]', "]"), (PRACTICE, "current_practice = {}")]
    assert [p.rule for p in damaged(good_protocol, *swaps)] == ["TK-P07"]


@pytest.mark.parametrize(
    ("text", "row", "words"),
    [
        ("[layout]\nseed = 1,5\n", 2, "Decimals have a point"),
        ("question = Which?\n", 1, "double quotes"),
        ('question = "Which?\n', 1, "Close the quotation marks"),
        ("blocks = 1\nblocks = 2\n", 2, "The same key is there twice"),
        ("on = 2026-02-31\n", 1, "No calendar has this one"),
        ("just words\n", 1, "key = value"),
        ("a = " + "[" * 50_000, None, "at most 10 sections or lists within each other"),
        ("a = " + "1" * 5000, None, "TK-P01"),
    ],
)
def test_what_is_not_toml_is_told_with_a_hint(text: str, row: int | None, words: str) -> None:
    """A file that is not TOML gives the line where it stops being so and a plain hint, never a crash."""
    with pytest.raises(TrialError) as caught:
        parse_protocol(text)
    (problem,) = caught.value.problems
    assert words in problem_sentence(problem)
    assert problem.row == row or row == 2
    with speaking("es"):
        assert english_said([fault_sentence(problem)]) == []


@given(text=st.text(max_size=200))
def test_no_text_makes_the_reader_crash(text: str) -> None:
    """Whatever stands in the file, the answer is a list of problems."""
    with pytest.raises(TrialError) as caught:
        parse_protocol(text)
    assert caught.value.problems


@given(key=st.text(max_size=20), value=st.sampled_from(["1", '"x"', "[]", "{}", "nan", "true", "2026-01-01"]))
def test_no_unknown_key_makes_the_reader_crash(good_protocol_text: str, key: str, value: str) -> None:
    """A stranger's key is reported, whatever its characters, and nothing in it reaches the terminal raw."""
    quoted_key = "".join(f"\\U{ord(c):08x}" for c in key)
    with pytest.raises(TrialError) as caught:
        parse_protocol(good_protocol_text.replace("[layout]\n", f'[layout]\n"{quoted_key}" = {value}\n'))
    assert all(problem_sentence(p).isprintable() for p in caught.value.problems)


def test_treatments_are_the_full_factorial(good_protocol: str) -> None:
    """Every combination of declared levels, the last factor fastest; fixed factors do not count as varied."""
    protocol = parse_protocol(good_protocol)
    assert protocol.varied_factors == ("cultivar", "dose")
    assert protocol.treatment_columns == ("cultivar", "dose_tsp")
    assert protocol.treatments().to_numpy().tolist() == [
        ["Larkmoor Butter", 2.0, "white vinegar 5 %"],
        ["Larkmoor Butter", 4.0, "white vinegar 5 %"],
        ["NA", 2.0, "white vinegar 5 %"],
        ["NA", 4.0, "white vinegar 5 %"],
    ]


def test_undeclared_factors_are_blank(good_protocol: str) -> None:
    """A factor that plays no part is an empty text, a dose NaN; the order of the file does not matter."""
    start, _, rest = good_protocol.partition("[factors.cultivar]")
    text = start + '[factors.acidifier]\nlevels = ["none", "citric acid"]\n' + rest[rest.index("[layout]") :]
    treatments = parse_protocol(text.replace(PRACTICE, 'current_practice = { acidifier = "none" }')).treatments()
    assert treatments["cultivar"].tolist() == ["", ""]
    assert treatments["dose_tsp"].isna().all()
    assert treatments["acidifier"].tolist() == ["none", "citric acid"]


def test_a_protocol_is_read_from_a_file_or_its_folder(good_folder: Path) -> None:
    """The path may be that of the file or of the trial folder; a missing one is a problem, not a crash."""
    assert read_protocol(good_folder) == read_protocol(good_folder / "trial.toml")
    with pytest.raises(TrialError, match="TK-F01"):
        read_protocol(good_folder / "no.toml")


def test_defaults_are_those_of_the_documentation(good_protocol: str) -> None:
    """What is left out has the published default; a trial without title goes by its question."""
    stated = ('title = "Autumn dose trial"\n', "volume_l = 20\n")
    protocol = parse_protocol(good_protocol.replace(stated[0], "").replace(stated[1], ""))
    assert protocol.trial.title == protocol.trial.question
    assert (protocol.bucket.volume_l, protocol.decision.margin_g, protocol.decision.confidence) == (16.0, 10.0, 0.95)
    assert (protocol.decision.change_cost_g, protocol.decision.adopt_probability) == (3.0, 0.9)


def test_the_published_schema_is_current(schema_text: Callable[[str], str]) -> None:
    """schemas/protocol.schema.json is that of the model; `python -m trialkit.protocol.protocol_schema` prints it."""
    assert schema_text("protocol.schema.json") == protocol_schema_text()


def test_kinds_of_layout_are_those_that_can_be_made() -> None:
    """The protocol accepts exactly the kinds that the layouts package makes."""
    assert set(LayoutKindName.__args__) == set(LAYOUT_KINDS)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("adopt_probability = 0.4", "at least 0.5"),
        ("confidence = 0.1", "at least 0.5"),
        ("confidence = 0.99999999999999", "at most 0.999"),
        ("adopt_probability = 1", "at most 0.999"),
        ("margin_g = 1e9", "at most 2000.0"),
        ("change_cost_g = -1", "at least 0.0"),
        ("price_per_kg = 0", "at least 0.0001"),
    ],
)
def test_thresholds_that_would_make_nonsense(good_protocol: str, line: str, words: str) -> None:
    """No change is adopted when more likely wrong than right, no margin exceeds a head, no lettuce goes for nothing."""
    (problem,) = damaged(good_protocol, (PRACTICE, f"{PRACTICE}\n{line}"))
    assert (problem.rule, problem.column) == ("TK-P04", f"decision.{line.split()[0]}")
    assert words in told_problem(problem).expected


def test_no_margin_is_larger_than_a_head(schema_text: Callable[[str], str]) -> None:
    """The most that a margin may be is the heaviest head that heads.csv takes."""
    fields = {field["name"]: field for field in json.loads(schema_text("heads.json"))["fields"]}
    assert fields["weight_g"]["constraints"]["maximum"] == MOST_G


def test_doses_that_no_spoon_tells_apart(good_protocol: str) -> None:
    """Two doses that differ by a rounding error are one dose."""
    (problem,) = damaged(good_protocol, ("levels = [2, 4]", "levels = [2, 4, 4.000000000000001]"))
    assert "no spoon can tell these from each other" in told_problem(problem).expected


def test_too_many_treatments(good_protocol: str) -> None:
    """More treatments than can be compared are refused with their number."""
    many = ", ".join(f"{dose}" for dose in range(1, 31))
    (problem,) = damaged(good_protocol, ("levels = [2, 4]", f"levels = [{many}]"), ('"NA"]', '"NA", "Third"]'))
    assert (problem.rule, told_problem(problem).found) == ("TK-P09", "90 treatments")
