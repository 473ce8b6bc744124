"""Gardens that gave up: what they recorded counts, and what they did not is as if it had never been laid out."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from small_trial import write_small_trial
from trialkit.analysis import analyse
from trialkit.analysis.bucket_records import bucket_records
from trialkit.documents.decision import Decision
from trialkit.documents.document import as_data
from trialkit.documents.results import Results
from trialkit.evidence.accepting import trial_entry
from trialkit.report.page import report_html
from trialkit.rules.trial_folder import CheckedTrial, read_trial
from trialkit.words.loss_words import losses_sentence


@pytest.fixture(scope="module")
def trial(tmp_path_factory: pytest.TempPathFactory) -> CheckedTrial:
    """Three gardens with everything recorded."""
    folder = tmp_path_factory.mktemp("withdrawn")
    write_small_trial(folder, sites=3, doses=3, blocks=2, days=False)
    return read_trial(folder)


def rows_elsewhere(trial: CheckedTrial, site: str) -> CheckedTrial:
    """Leave out all that a garden recorded."""
    own = set(trial.layout.loc[trial.layout["site"] == site, "bucket"])
    tables = {name: getattr(trial, name) for name in ("solution", "visits", "heads", "weather")}
    kept = {name: rows[~rows["bucket"].isin(own)] for name, rows in tables.items() if "bucket" in rows}
    kept |= {name: rows[rows["site"] != site] for name, rows in tables.items() if "site" in rows}
    return replace(trial, **{name: rows.reset_index(drop=True) for name, rows in kept.items()})


def withdrawn(trial: CheckedTrial, *sites: str) -> CheckedTrial:
    """Note that gardens withdrew."""
    rows = [
        {
            "layout_version": number,
            "amended_on": pd.Timestamp("2026-09-01"),
            "site": site,
            "change": "withdrew",
            "blocks": pd.NA,
            "why": "moved away",
        }
        for number, site in enumerate(sites, 2)
    ]
    return replace(trial, amendments=pd.DataFrame(rows))


def never_there(trial: CheckedTrial, site: str) -> CheckedTrial:
    """Take a garden without records out of the layout."""
    layout, sites = trial.layout, trial.sites
    return replace(
        trial,
        layout=layout[layout["site"] != site].reset_index(drop=True),
        sites=sites[sites["site"] != site].reset_index(drop=True),
    )


def told(results: Results) -> dict[str, object]:
    """All that results say but for the amendment itself."""
    return {key: value for key, value in as_data(results).items() if key != "amendments"}


GONE = "s1"


@pytest.mark.parametrize("outcome", [None, "", "gave_up", "never_planted", "stolen"])
def test_a_garden_that_never_planted_is_no_garden_of_the_trial(trial: CheckedTrial, outcome: str | None) -> None:
    """The whole analysis is that of a layout without it, also where its sheet says of each head that there is none."""
    others = rows_elsewhere(trial, GONE)
    gave_up = withdrawn(others, GONE)
    if outcome is not None:
        own = trial.heads["bucket"].isin(trial.layout.loc[trial.layout["site"] == GONE, "bucket"])
        blank = trial.heads[own].assign(outcome=outcome, weight_g=np.nan, marketable=pd.NA, harvested_on=pd.NaT)
        heads = pd.concat([others.heads, blank.astype(others.heads.dtypes)], ignore_index=True)
        gave_up = replace(gave_up, heads=heads)
    results = analyse(gave_up)
    assert told(results) == told(analyse(never_there(others, GONE)))
    assert [one.site for one in results.amendments] == [GONE]


def test_heads_of_it_that_were_recorded_stay(trial: CheckedTrial) -> None:
    """One of two heads of a bucket is recorded: it alone is planned there, and the garden counts with it."""
    others = rows_elsewhere(trial, GONE)
    own = trial.heads[trial.heads["bucket"].isin(trial.layout.loc[trial.layout["site"] == GONE, "bucket"])]
    kept = own[own["outcome"] == "harvested"].head(1)
    bucket = str(kept["bucket"].iloc[0])
    gave_up = withdrawn(replace(others, heads=pd.concat([others.heads, kept], ignore_index=True)), GONE)
    results, design = analyse(gave_up), analyse(never_there(others, GONE)).design
    assert (results.design.buckets, results.design.heads) == (design.buckets + 1, design.heads + 1)
    assert [one.site for one in results.design.sites] == ["s1", "s2", "s3"]
    (mine,) = [row.heads for row in results.losses.by_site if row.site == GONE]
    assert (mine.planned, mine.harvested, mine.unrecorded) == (1, 1, 0)
    assert "without a record" not in losses_sentence(results.losses)
    rows = bucket_records(gave_up).set_index("bucket")
    assert rows.loc[bucket, ["planned", "recorded"]].tolist() == [1, 1]
    assert set(rows["site"]) == {"s1", "s2", "s3"}


def test_only_heads_of_gardens_that_stayed_could_turn_the_answer(trial: CheckedTrial) -> None:
    """Two heads of gardens that stayed have no record, and all of one that gave up: the answer asks about two."""
    others = rows_elsewhere(trial, GONE)
    short = replace(others, heads=others.heads.iloc[2:].reset_index(drop=True))
    decision = analyse(withdrawn(short, GONE)).decision
    assert isinstance(decision, Decision)
    (if_lost,) = [one for one in decision.other_readings if one.of == "all_lost"]
    assert if_lost.concerned == 2
    assert sum(one.unrecorded for one in decision.tipping) <= 2


def test_page_and_ledger_count_alike(tmp_path: Path) -> None:
    """Under the title of the report, in the table of gardens and in the ledger's entry stand the same numbers."""

    def all_of(rows: pd.DataFrame) -> pd.DataFrame:
        return rows[rows["site"] != "s3"]

    write_small_trial(tmp_path, sites=3, doses=2, blocks=2, days=False, change=all_of)
    (tmp_path / "amendments.csv").write_text(
        "layout_version,amended_on,site,change,blocks,why\n2,2026-09-01,s3,withdrew,,moved away\n", encoding="utf-8"
    )
    trial = read_trial(tmp_path)
    results = analyse(trial)
    page = report_html(results)
    facts = page.partition('<ul class="facts">')[2].partition("</ul>")[0]
    assert re.findall("<bdi>(.+?)</bdi>", facts) == ["2 gardens", "8 buckets", "16 heads"]
    assert "Garden 3" not in page
    entry = trial_entry(trial, results, b"")
    assert (entry.gardens, entry.buckets, entry.heads) == (2, 8, 16)
    assert [one.site for one in entry.facts.sites] == ["s1", "s2"]


@pytest.mark.parametrize("kept", ["s1", "s2", "s3"])
def test_a_treatment_that_stood_only_where_somebody_gave_up(tmp_path: Path, kept: str) -> None:
    """Three volunteers of two buckets each: of one alone the answer or its reason is found, and can be said."""
    write_small_trial(
        tmp_path, sites=3, doses=3, blocks=1, kind="volunteer blocks", layout="block_size = 2\n", days=False
    )
    trial = read_trial(tmp_path)
    gone = [site for site in ("s1", "s2", "s3") if site != kept]
    for site in gone:
        trial = rows_elsewhere(trial, site)
    results = analyse(withdrawn(trial, *gone))
    assert results.design.buckets == 2
    assert (results.decision is None) != (results.no_decision is None)
    assert "No head with" not in losses_sentence(results.losses)
    assert report_html(results)
