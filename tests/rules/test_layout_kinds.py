"""Every kind of layout from its trial.toml: laid out, checked, and refused in words where it cannot be."""

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from english_left import english_said
from trialkit.documents.problems import Problem
from trialkit.domain.errors import WrongCall
from trialkit.languages import speaking
from trialkit.protocol.randomise import efficiency_of, randomise
from trialkit.protocol.trial_protocol import Protocol, parse_protocol
from trialkit.rules.trial_folder import check_trial
from trialkit.tables.atomic import csv_text
from trialkit.tables.problem import TrialError
from trialkit.words.problem_words import fault_sentence, problem_sentence, told_problem

PROTOCOL = """\
[trial]
question = "Which cultivar?"

[factors.cultivar]
levels = {levels}
{dose}
[layout]
seed = 7
{layout}
[decision]
current_practice = {{ cultivar = "c1"{practice} }}
"""
PINNED = {
    "complete": "462131525131", "without blocks": "434562612151", "square": "514362423651", "rectangle": "531632454621",
    "incomplete": "623514521463", "volunteers": "132645643413", "augmented": "124162235162",
    "augmented by the practice": "142136511563",
}  # fmt: skip
"""The first twelve cultivars of each layout."""
HEADER = "site,name,kind,water_source,alkalinity_mg_l_caco3,water_ph,sun_hours,note\n"
KINDS = {
    "complete": 'kind = "randomised complete blocks"\npractice_buckets = 2\nkeep_apart = true\nbench_columns = 7',
    "without blocks": 'kind = "completely randomised"\npractice_buckets = 2\nkeep_apart = true',
    "square": 'kind = "Latin square"',
    "rectangle": 'kind = "row-column"\nrows = 3\ncolumns = 4',
    "incomplete": 'kind = "incomplete blocks"\nblocks = 4\nblock_size = 3\nresolvable = true\nkeep_apart = true',
    "volunteers": 'kind = "volunteer blocks"\nblocks = 6',
    "augmented": 'kind = "augmented blocks"\nchecks = ["c1", "c2"]',
    "augmented by the practice": 'kind = "augmented blocks"',
}


def protocol_text(layout: str, cultivars: int = 6, *, doses: int = 0) -> str:
    """Return a protocol with so many cultivars, and doses if any, and these lines in its layout section."""
    levels = str([f"c{i}" for i in range(1, cultivars + 1)]).replace("'", '"')
    dose = f"\n[factors.dose]\nlevels = {list(range(2, 2 + doses))}\n" if doses else ""
    return PROTOCOL.format(levels=levels, dose=dose, layout=layout, practice=", dose = 2" if doses > 1 else "")


def sites(count: int) -> pd.DataFrame:
    """Return so many sites."""
    return pd.DataFrame({"site": [f"s{i}" for i in range(count)]})


@pytest.fixture
def laid_out(tmp_path: Path) -> Callable[..., Path]:
    """Write a trial folder up to its layout."""

    def write(layout: str, gardens: int = 2, *, change: Callable[[pd.DataFrame], pd.DataFrame] | None = None) -> Path:
        text = protocol_text(layout)
        (tmp_path / "trial.toml").write_text(text, "utf-8")
        rows = "".join(f"s{i},Garden {i},,,,,,\n" for i in range(gardens))
        (tmp_path / "sites.csv").write_text(HEADER + rows, "utf-8")
        (tmp_path / "products.csv").write_text(
            "product,kind,n_pct,p2o5_pct,k2o_pct,grams_per_tsp\nB,nutrient,9,12,30,5\n"
        )
        table = randomise(parse_protocol(text), sites(gardens))
        (tmp_path / "layout.csv").write_text(csv_text(change(table) if change else table), "utf-8")
        return tmp_path

    return write


def faults(text: str) -> list[Problem]:
    """Return the problems of a protocol."""
    with pytest.raises(TrialError) as caught:
        parse_protocol(text)
    return list(caught.value.problems)


@pytest.mark.parametrize("layout", KINDS.values(), ids=KINDS.keys())
def test_a_layout_of_every_kind_passes_its_own_check(layout: str, laid_out: Callable[..., Path]) -> None:
    """What the seed gives is read back without a problem: as planned, connected, and that of the seed."""
    assert [problem_sentence(p) for p in check_trial(laid_out(layout), stage="layout").problems] == []


@pytest.mark.parametrize("layout", KINDS.values(), ids=KINDS.keys())
def test_the_seed_alone_decides(layout: str) -> None:
    """The same protocol gives the same bytes, another seed others."""
    text = protocol_text(layout)
    first, again = (csv_text(randomise(parse_protocol(text), sites(2))) for _ in range(2))
    assert first == again
    assert csv_text(randomise(parse_protocol(text.replace("seed = 7", "seed = 8")), sites(2))) != first


def test_the_layouts_of_a_seed_never_change() -> None:
    """Labels are printed from them: a later version must give the same layouts (pinned from version 0.1.0)."""
    found = {}
    for name, layout in KINDS.items():
        table = randomise(parse_protocol(protocol_text(layout)), sites(2))
        found[name] = "".join(table["cultivar"].str[1:])[:12]
    assert found == PINNED


def test_defaults_are_those_of_each_kind() -> None:
    """One square or rectangle a site, three buckets a volunteer, three blocks otherwise."""
    plans = {name: parse_protocol(protocol_text(layout)).layout for name, layout in KINDS.items()}
    assert {name: plan.blocks for name, plan in plans.items()} == {
        "complete": 3, "without blocks": 3, "square": 1, "rectangle": 1, "incomplete": 4, "volunteers": 6,
        "augmented": 3, "augmented by the practice": 3,
    }  # fmt: skip
    assert plans["volunteers"].block_size == 3


def test_checks_are_the_practice_unless_named() -> None:
    """Without checks the current practice stands in every block of an augmented layout."""
    for name, checks in (("augmented", ["c1", "c2"]), ("augmented by the practice", ["c1"])):
        counts = randomise(parse_protocol(protocol_text(KINDS[name])), sites(1))["cultivar"].value_counts()
        assert sorted(counts.index[counts == 3]) == checks
        assert (counts.drop(checks) == 1).all()


def test_efficiency_is_that_of_the_protocols_factors() -> None:
    """Volunteers with three of six cultivars: the efficiency of their blocks, and where the error comes from."""
    protocol = parse_protocol(protocol_text(KINDS["volunteers"]))
    found = efficiency_of(protocol, randomise(protocol, sites(4)))
    assert 0.79 < found.average_factor <= 0.8
    assert [stratum.term for stratum in found.strata] == ["site", "site:volunteer", "site:cultivar", "bucket"]


@pytest.mark.parametrize(
    ("layout", "cultivars", "rule", "column", "found", "expected"),
    [
        ('kind = "incomplete blocks"', 6, "TK-P10", "layout.block_size", "nothing", "a whole number"),
        ('kind = "row-column"\nrows = 3', 6, "TK-P10", "layout.columns", "nothing", "a whole number"),
        ("block_size = 3", 6, "TK-P10", "layout.block_size", "3", "no such key in a layout of kind random"),
        ('kind = "Latin square"\nrows = 4', 6, "TK-P10", "layout.rows", "4", "no such key in a layout of kind Latin"),
        ('kind = "completely randomised"\nchecks = ["c1"]', 6, "TK-P10", "layout.checks", "c1", "no such"),
        ('kind = "volunteer blocks"\nblock_size = 6', 8, "TK-P10", "layout.block_size", "6", "2 to 5 buckets"),
        ('kind = "incomplete blocks"\nblock_size = 1', 6, "TK-P04", "layout.block_size", "1", "at least 2"),
        ('kind = "incomplete blocks"\nblock_size = 6', 6, "TK-P11", "layout.block_size", "6", "fewer buckets"),
        ('kind = "volunteer blocks"', 3, "TK-P11", "layout", "3", "fewer buckets in a block than the 3 treatments"),
        ('kind = "incomplete blocks"\nblock_size = 4\nresolvable = true', 6, "TK-P11", "layout.block_size", "4",
         "(2, 3)"),
        ('kind = "incomplete blocks"\nblock_size = 4\nresolvable = true', 7, "TK-P11", "layout.block_size", "4",
         "resolvable = false"),
        ('kind = "incomplete blocks"\nblock_size = 3\nresolvable = true', 6, "TK-P11", "layout", "3", "multiple of 2"),
        ("keep_apart = true", 2, "TK-P11", "layout.keep_apart", "true", "false with fewer than 3 treatments"),
        ('kind = "row-column"\nrows = 2\ncolumns = 2', 6, "TK-P11", "layout", "= 4 buckets", "at least 6 buckets"),
        ('kind = "augmented blocks"\nchecks = ["c9"]', 6, "TK-P11", "layout.checks", "c9", "a level of factors"),
        ('kind = "augmented blocks"\nchecks = ["c1", "c2"]', 2, "TK-P11", "layout.checks", "every level", "no check"),
    ],
)  # fmt: skip
def test_layouts_that_cannot_be_are_refused_with_a_remedy(
    layout: str, cultivars: int, rule: str, column: str, found: str, expected: str
) -> None:
    """One clear sentence: what stands there, what would fit."""
    (problem,) = faults(protocol_text(layout, cultivars))
    assert problem.rule == rule
    assert str(problem.column).startswith(column)
    assert found in told_problem(problem).found
    assert expected in told_problem(problem).expected
    assert told_problem(problem).how_to_fix
    assert problem.row is not None
    with speaking("es"):
        assert english_said([fault_sentence(problem)]) == []


def test_augmented_blocks_are_for_one_factor() -> None:
    """With two factors there is no saying which level stands once."""
    (problem,) = faults(protocol_text('kind = "augmented blocks"', doses=2))
    assert (problem.rule, problem.column) == ("TK-P11", "layout.kind")
    assert "2 factors" in told_problem(problem).found


@pytest.mark.parametrize(
    ("layout", "needed"),
    [('kind = "volunteer blocks"\nblocks = 2', "at least 3 blocks of 3 buckets in all, to compare 6 treatments"),
     ('kind = "row-column"\nrows = 2\ncolumns = 4', "at least 2 blocks of 2 rows and 4 columns in all"),
     ('kind = "augmented blocks"\nblocks = 1', "at least 2 blocks in all")],
)  # fmt: skip
def test_too_few_blocks_to_compare_everything(layout: str, needed: str, tmp_path: Path) -> None:
    """That the blocks of all gardens do not suffice is told before anything is laid out; another garden fixes it."""
    text = protocol_text(layout)
    (tmp_path / "trial.toml").write_text(text, "utf-8")
    (tmp_path / "products.csv").write_text("product,kind,n_pct,p2o5_pct,k2o_pct,grams_per_tsp\nB,nutrient,9,12,30,5\n")
    (tmp_path / "sites.csv").write_text(HEADER + "s0,Garden,,,,,,\n", "utf-8")
    (problem,) = check_trial(tmp_path, stage="plan").errors
    assert (problem.rule, problem.column) == ("TK-P11", "layout.blocks")
    assert needed in told_problem(problem).expected
    with pytest.raises(WrongCall):
        randomise(parse_protocol(text), sites(1))
    (tmp_path / "sites.csv").write_text(HEADER + "s0,Garden,,,,,,\ns1,Garden,,,,,,\n", "utf-8")
    assert check_trial(tmp_path, stage="plan").ok


@pytest.mark.parametrize(("name", "column"), [("volunteers", "volunteer"), ("square", "row"), ("rectangle", "column")])
def test_places_must_be_filled_in(name: str, column: str, laid_out: Callable[..., Path]) -> None:
    """The volunteer, or the row and column, must be there for every bucket: the analysis goes by them."""
    folder = laid_out(KINDS[name], change=lambda table: table.drop(columns=column))
    (problem,) = check_trial(folder, stage="layout").errors
    assert (problem.rule, problem.row, problem.column) == ("TK-L09", 1, column)
    folder = laid_out(KINDS[name], change=lambda table: table.astype({column: object}).replace({column: {1: ""}}))
    problems = check_trial(folder, stage="layout").errors
    assert {(p.rule, p.column) for p in problems} == {("TK-L09", column)}


def exchanged(table: pd.DataFrame, first: int, second: int) -> pd.DataFrame:
    """Exchange the treatments of two buckets."""
    table = table.copy()
    table.loc[[first, second], "cultivar"] = table.loc[[second, first], "cultivar"].to_numpy()
    return table


def test_a_treatment_twice_in_a_row_is_warned_of(laid_out: Callable[..., Path]) -> None:
    """Two buckets of a Latin square that changed places: rows (or columns) no longer hold each treatment once."""
    folder = laid_out(KINDS["square"], change=lambda table: exchanged(table, 0, 7))
    warnings = [p for p in check_trial(folder, stage="layout").warnings if p.rule == "TK-L05"]
    assert {p.column for p in warnings} == {"row", "column"}
    assert "each treatment at most once in each row" in {told_problem(p).expected for p in warnings}
    assert "TK-L07" in {p.rule for p in check_trial(folder, stage="layout").warnings}


def test_a_treatment_twice_with_a_volunteer_is_warned_of(laid_out: Callable[..., Path]) -> None:
    """A volunteer who was given the same cultivar twice is named."""

    def change(table: pd.DataFrame) -> pd.DataFrame:
        other = table.index[(table.index > 2) & (table["cultivar"] == table["cultivar"][0]) & (table["site"] == "s0")][
            0
        ]
        return exchanged(table, 1, int(other))

    warnings = check_trial(laid_out(KINDS["volunteers"], change=change), stage="layout").warnings
    assert {"volunteer"} <= {p.column for p in warnings if p.rule == "TK-L05"}


def test_a_layout_that_falls_apart_is_warned_of(laid_out: Callable[..., Path]) -> None:
    """Half of the volunteers with three cultivars, half with the others: no chain of blocks joins the halves."""

    def change(table: pd.DataFrame) -> pd.DataFrame:
        half = [f"c{1 + (i % 3) + 3 * ((i // 3) % 2)}" for i in range(len(table))]
        return table.assign(cultivar=half)

    folder = laid_out(KINDS["volunteers"], change=change)
    (problem,) = [p for p in check_trial(folder, stage="layout").problems if p.rule == "TK-L10"]
    assert problem.severity == "warning"
    assert told_problem(problem).found.startswith("2 groups of treatments that no block compares, one with c")


def test_no_sites_are_told(laid_out: Callable[..., Path]) -> None:
    """A trial without gardens is an error that says how to fix it, whatever the kind of layout."""
    folder = laid_out(KINDS["volunteers"])
    (folder / "sites.csv").write_text(HEADER, "utf-8")
    (empty,) = [p for p in check_trial(folder, stage="plan").errors if p.rule == "TK-F08"]
    assert told_problem(empty).how_to_fix == "One row is a garden. Write each one below the header, with at least site."
    with pytest.raises(ValueError, match="at least one site"):
        randomise(protocol_of(folder), sites(0))


def protocol_of(folder: Path) -> Protocol:
    """Read a folder's protocol."""
    return parse_protocol((folder / "trial.toml").read_text("utf-8"))
