"""Every kind of layout through the analysis: its strata are in the model, and the classical analysis comes out."""

from pathlib import Path

import pandas as pd
import pytest

from small_trial import small_trial
from trialkit.documents.findings import Note
from trialkit.protocol.randomise import efficiency_of
from trialkit.rules.trial_folder import read_trial

TWO_ROWS = "rows = 2\ncolumns = 8\n"
STRATA = {
    "Latin square": ("site:block:row", "site:block:column"),
    "row-column": ("site:block:row", "site:block:column"),
    "incomplete blocks": ("site:block",),
    "volunteer blocks": ("site:volunteer",),
    "augmented blocks": ("site:block",),
    "completely randomised": (),
}
SLOW_DAYS = {"row-column", "augmented blocks", "completely randomised"}
"""Kinds without days here: as a Latin square, as complete blocks and without strata they are analysed elsewhere."""


@pytest.mark.parametrize(
    ("kind", "sites", "blocks", "layout"),
    [
        ("Latin square", 3, 1, ""),
        ("row-column", 4, 1, "rows = 3\ncolumns = 4\n"),
        ("incomplete blocks", 4, 4, "block_size = 3\nresolvable = true\n"),
        ("volunteer blocks", 4, 6, ""),
        ("augmented blocks", 3, 3, ""),
        ("completely randomised", 3, 3, "practice_buckets = 2\nkeep_apart = true\n"),
    ],
)
def test_every_kind_is_analysed_by_its_randomisation(
    kind: str, sites: int, blocks: int, layout: str, tmp_path: Path
) -> None:
    """A trial of each kind, laid out and recorded, is analysed with its own strata and the bucket as the replicate."""
    days = kind not in SLOW_DAYS
    results = small_trial(tmp_path, kind=kind, sites=sites, blocks=blocks, cultivars=6, layout=layout, days=days)
    weight = results.responses["weight_g"]
    assert weight.status == "analysed"
    assert weight.model.random == ("site", *STRATA[kind], "bucket", "site:cultivar")
    assert [mean.buckets > 0 for mean in weight.means] == [True] * 6
    assert results.design.kind == kind


def test_a_latin_square_gives_the_classical_analysis(tmp_path: Path) -> None:
    """One head in each bucket of a square of order 5: F with 4 and 12 degrees of freedom, as by sums of squares."""
    whole = {"outcome": "harvested", "harvested_on": "2026-10-01", "last_not_ready_on": "", "marketable": "yes"}
    results = small_trial(
        tmp_path,
        kind="Latin square",
        blocks=1,
        cultivars=5,
        heads=1,
        days=False,
        change=lambda heads: weighed(heads.assign(**whole)),
    )
    (test,) = results.responses["weight_g"].tests
    trial = read_trial(tmp_path)
    data = trial.heads.merge(trial.layout, on="bucket")
    assert (test.numerator_df, test.denominator_df) == pytest.approx((4, 12))
    assert test.f == pytest.approx(classical_f(data), rel=1e-6)


def weighed(heads: pd.DataFrame) -> pd.DataFrame:
    """Give every head a weight that depends on cultivar, row, column and place."""
    place = heads["position"].astype(int)
    noise = (place * 37 % 25) + (place * place * 11 % 17)
    row, column = heads["row"].astype(int), heads["column"].astype(int)
    weight = 150 + 4 * heads["cultivar"].str.len() + 12 * row * (row - 2) + 9 * column + noise
    return heads.assign(weight_g=weight.astype(str))


def classical_f(data: pd.DataFrame) -> float:
    """Ratio of mean squares of a Latin square (Fisher 1935): treatments over what rows and columns leave."""
    weight = data["weight_g"]
    deviation = weight - weight.mean()
    sums = {
        name: 5 * float(((data.groupby(name)["weight_g"].mean() - weight.mean()) ** 2).sum())
        for name in ("row", "column", "cultivar")
    }
    error = float((deviation**2).sum()) - sum(sums.values())
    return (sums["cultivar"] / 4) / (error / 12)


@pytest.mark.parametrize(
    ("kind", "blocks", "layout", "error"), [("Latin square", 1, "", 10), ("randomised complete blocks", 3, "", 10)]
)
def test_the_layout_promises_the_degrees_of_freedom_that_the_analysis_has(
    kind: str, blocks: int, layout: str, error: int, tmp_path: Path
) -> None:
    """Six cultivars at three gardens: the error foretold from the layout alone is the denominator of F."""
    results = small_trial(
        tmp_path, kind=kind, sites=3, blocks=blocks, cultivars=6, layout=layout, days=False, change=complete
    )
    trial = read_trial(tmp_path)
    (effect,) = efficiency_of(trial.protocol, trial.layout).effects
    (test,) = results.responses["weight_g"].tests
    assert (effect.stratum, effect.error) == ("site:cultivar", error)
    assert test.denominator_df == pytest.approx(error, rel=1e-6)


def complete(heads: pd.DataFrame) -> pd.DataFrame:
    """Have every head harvested."""
    weight = heads["weight_g"].where(heads["outcome"] == "harvested", "140")
    whole = {"outcome": "harvested", "harvested_on": "2026-10-01", "last_not_ready_on": "", "marketable": "yes"}
    return heads.assign(weight_g=weight, **whole)


def test_volunteers_at_home_are_sites(tmp_path: Path) -> None:
    """Where each volunteer's garden is a site of its own, one term stands for both and the trial is analysed."""
    results = small_trial(tmp_path, kind="volunteer blocks", sites=24, blocks=1, cultivars=6)
    weight = results.responses["weight_g"]
    assert weight.model.random == ("site", "bucket")
    assert "site:cultivar" not in {variance.term for variance in weight.variances}


def test_two_rows_are_fixed(tmp_path: Path) -> None:
    """Two rows are too few to stand for others: they enter as fixed, and that is said."""
    results = small_trial(tmp_path, kind="row-column", blocks=1, cultivars=4, layout=TWO_ROWS, days=False)
    weight = results.responses["weight_g"]
    assert weight.model.formula == "weight_g ~ row + cultivar"
    assert Note("few_levels", count=2, term="site:block:row") in weight.model.notes
