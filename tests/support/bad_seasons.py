"""Seasons that went badly, drawn with a seed, and what every one of them must get: an answer or a named refusal.

A season is a trial, whole, and what befell it. `told` takes it the way of an adviser through the commands, and returns
whatever is wrong with what they did; nothing, where all is as it must be.
"""

import json
import re
import shutil
import traceback
import warnings
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from commands import DATA_ERROR, DONE, NOT_COMPUTED, WRONG_CALL, run
from small_trial import write_small_trial
from trialkit._resources import resource_folder
from trialkit.domain.heads import CUT, OUTCOMES

FATES = tuple(one for one in OUTCOMES if one != "harvested")
"""Whatever may become of a head but a harvest, and a cell that nobody filled in."""
FACTORS = ("cultivar", "dose_tsp", "acidifier")
Records = pd.DataFrame
"""Rows of heads.csv, all text, beside what layout.csv says of their bucket."""


def _small(**options: Any) -> Callable[[Path], None]:
    return partial(write_small_trial, **options)


def _bundled(name: str) -> Callable[[Path], None]:
    return lambda folder: _copy(resource_folder("example_trials") / name, folder)


def _copy(source: Path, folder: Path) -> None:
    shutil.copytree(source, folder, dirs_exist_ok=True)


TRIALS: Mapping[str, Callable[[Path], None]] = {
    "autumn_dose": _bundled("autumn_dose"),
    "spring_dose": _bundled("spring_dose"),
    "volunteer_cultivars": _bundled("volunteer_cultivars"),
    "two factors": _small(sites=3, cultivars=2, doses=2),
    "doses": _small(sites=3, doses=4, heads=3),
    "acids": _small(sites=2, cultivars=2, acidifiers=2),
    "one garden": _small(cultivars=3),
    "one block": _small(sites=4, blocks=1, cultivars=2, doses=2, heads=1),
    "two treatments": _small(sites=2, blocks=2, cultivars=2, heads=1),
    "split plot": _small(sites=2, blocks=2, cultivars=2, doses=3, whole_plot="dose"),
    "completely randomised": _small(sites=2, blocks=2, cultivars=3, kind="completely randomised"),
    "Latin square": _small(sites=2, blocks=1, cultivars=4, kind="Latin square"),
    "row-column": _small(sites=2, blocks=1, cultivars=6, kind="row-column", layout="rows = 3\ncolumns = 4\n"),
    "incomplete blocks": _small(
        sites=2, blocks=4, cultivars=6, kind="incomplete blocks", layout="block_size = 3\nresolvable = true\n"
    ),
    "volunteers": _small(sites=4, blocks=2, cultivars=6, kind="volunteer blocks"),
    "augmented": _small(sites=2, blocks=2, cultivars=6, kind="augmented blocks"),
    "priced": _small(
        sites=2, cultivars=2, doses=2, decision="price_per_kg = 10\ncost_per_bucket = 0.3\ndelay_cost_per_day = 0.02\n"
    ),
}
"""Whole trials, bundled ones and a small one of every kind of layout."""


def met(records: Records, rows: pd.Series, fate: str) -> Records:
    """Let heads meet a fate, recorded as the rules want it: what cannot be known of it is empty."""
    kept = records.copy()
    if fate not in ("never_planted", ""):  # what never went into its bucket meets nothing else
        rows = rows & (kept["transplanted_on"] != "")
    emptied = ["weight_g", "marketable"] if fate in CUT else ["weight_g", "marketable", "harvested_on"]
    kept.loc[rows, emptied] = ""
    if fate in ("never_planted", ""):
        kept.loc[rows, ["transplanted_on", "last_not_ready_on"]] = ""
    kept.loc[rows & (kept["outcome"] != "harvested"), "harvested_on"] = ""
    # A head that was not cut has nothing to be weighed later: it is dead rather than not weighed.
    uncut = rows & (kept["harvested_on"] == "") & (fate in CUT)
    kept.loc[rows, "outcome"] = fate
    kept.loc[uncut, "outcome"] = "dead"
    return kept


def _one_of(rng: np.random.Generator, records: Records, *columns: str) -> pd.Series:
    """Choose one combination of what stands in columns; its rows."""
    keys = records[list(columns)].agg("|".join, axis=1)
    return keys == rng.choice(sorted(keys.unique()))


def _varied(records: Records) -> list[str]:
    return [name for name in FACTORS if records[name].nunique() > 1] or list(FACTORS)


def _fate(rng: np.random.Generator) -> str:
    return str(rng.choice(FATES))


def _level_lost(records: Records, rng: np.random.Generator) -> Records:
    return met(records, _one_of(rng, records, str(rng.choice(_varied(records)))), _fate(rng))


def _two_levels_lost(records: Records, rng: np.random.Generator) -> Records:
    return _level_lost(_level_lost(records, rng), rng)


def _cell_lost(records: Records, rng: np.random.Generator) -> Records:
    return met(records, _one_of(rng, records, *_varied(records)), _fate(rng))


def _garden_lost(records: Records, rng: np.random.Generator) -> Records:
    return met(records, _one_of(rng, records, "site"), _fate(rng))


def _block_lost(records: Records, rng: np.random.Generator) -> Records:
    return met(records, _one_of(rng, records, "site", "block"), _fate(rng))


def _half_lost(records: Records, rng: np.random.Generator) -> Records:
    return met(records, pd.Series(rng.random(len(records)) < 0.5, records.index), _fate(rng))


def _all_lost_but(most: int) -> Callable[[Records, np.random.Generator], Records]:
    def lose(records: Records, rng: np.random.Generator) -> Records:
        spared = rng.choice(len(records), min(most, len(records)), replace=False)
        return met(records, ~pd.Series(np.isin(np.arange(len(records)), spared), records.index), _fate(rng))

    return lose


def _some_kept(records: Records, rng: np.random.Generator) -> Records:
    """Take rows away until a few, or many, are left: a season half entered."""
    kept = min(len(records), int(rng.choice([0, 1, 2, 3, 4, 5, 6, 8, 10, 15, 20, 30, 50, 100])))
    return records.iloc[np.sort(rng.choice(len(records), kept, replace=False))]


def _half_kept(records: Records, rng: np.random.Generator) -> Records:
    return records[rng.random(len(records)) < 0.5]


def _one_garden(records: Records, rng: np.random.Generator) -> Records:
    return records[_one_of(rng, records, "site")]


def _one_level(records: Records, rng: np.random.Generator) -> Records:
    return records[_one_of(rng, records, str(rng.choice(_varied(records))))]


def _level_not_entered(records: Records, rng: np.random.Generator) -> Records:
    return records[~_one_of(rng, records, str(rng.choice(_varied(records))))]


def _one_bucket_a_garden(records: Records, rng: np.random.Generator) -> Records:
    chosen = {rng.choice(sorted(rows["bucket"].unique())) for _, rows in records.groupby("site")}
    return records[records["bucket"].isin(chosen)]


def _one_usable_head_a_bucket(records: Records, rng: np.random.Generator) -> Records:
    return met(records, records.duplicated("bucket"), _fate(rng))


def _weights(*grams: str) -> Callable[[Records, np.random.Generator], Records]:
    def weigh(records: Records, rng: np.random.Generator) -> Records:
        drawn = pd.Series(rng.choice(grams, len(records)), records.index)
        return records.assign(weight_g=drawn.where(records["weight_g"] != "", ""))

    return weigh


def _weights_by_treatment(records: Records, rng: np.random.Generator) -> Records:  # noqa: ARG001
    """Give every head the one weight of its treatment: nothing varies but what is asked."""
    grams = 100 + 10 * pd.Series(records[list(FACTORS)].agg("|".join, axis=1)).astype("category").cat.codes.astype(int)
    return records.assign(weight_g=grams.astype(str).where(records["weight_g"] != "", ""))


def _equal_days(records: Records, rng: np.random.Generator) -> Records:  # noqa: ARG001
    cut = records["harvested_on"] != ""
    planted, last = records["transplanted_on"].max(), records["harvested_on"].max()
    return records.assign(
        transplanted_on=pd.Series(planted, records.index).where(records["transplanted_on"] != "", ""),
        harvested_on=pd.Series(last, records.index).where(cut, ""),
        last_not_ready_on="",
    )


def _days_unknown(records: Records, rng: np.random.Generator) -> Records:
    column = str(rng.choice(["transplanted_on", "harvested_on", "last_not_ready_on"]))
    return records.assign(**{column: ""})


def _nothing_marketable(records: Records, rng: np.random.Generator) -> Records:
    rows = _one_of(rng, records, str(rng.choice([*_varied(records), "site"])))
    return records.assign(marketable=records["marketable"].mask(rows & (records["weight_g"] != ""), "no"))


def _unwhole(records: Records, rng: np.random.Generator) -> Records:
    return records.assign(marketable=np.where(records["weight_g"] != "", rng.choice(["no", "yes", ""]), ""))


def _one_head(records: Records, rng: np.random.Generator) -> Records:
    return records[records["head"] == str(rng.choice(sorted(records["head"].unique())))]


HARMS: Mapping[str, Callable[[Records, np.random.Generator], Records]] = {
    "a level lost": _level_lost,
    "two levels lost": _two_levels_lost,
    "a cell lost": _cell_lost,
    "a garden lost": _garden_lost,
    "a block lost": _block_lost,
    "half lost": _half_lost,
    "all lost": _all_lost_but(0),
    "all lost but one head": _all_lost_but(1),
    "all lost but three heads": _all_lost_but(3),
    "all lost but twelve heads": _all_lost_but(12),
    "some kept": _some_kept,
    "half kept": _half_kept,
    "one garden": _one_garden,
    "one level": _one_level,
    "a level not entered": _level_not_entered,
    "one bucket a garden": _one_bucket_a_garden,
    "one usable head a bucket": _one_usable_head_a_bucket,
    "all of one weight": _weights("100"),
    "two weights": _weights("100", "101"),
    "the lightest and the heaviest": _weights("1", "2000"),
    "a weight too light": _weights("0.1"),
    "a weight too heavy": _weights("5000"),
    "one weight a treatment": _weights_by_treatment,
    "equal days": _equal_days,
    "days unknown": _days_unknown,
    "nothing marketable": _nothing_marketable,
    "all marketable or not": _unwhole,
    "one head": _one_head,
}
"""What may befall the head records of a trial."""


@dataclass(frozen=True)
class Season:
    """A trial and what befell it; the same seed, the same season."""

    trial: str
    harms: tuple[str, ...]
    seed: int
    visits: bool = True
    withdrawn: bool = False

    def write(self, folder: Path, whole: Callable[[str], Path]) -> None:
        """Write the trial's folder, given where each trial lies whole."""
        rng = np.random.default_rng(self.seed)
        _copy(whole(self.trial), folder)
        heads, layout = (
            pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False) for name in ("heads", "layout")
        )
        records = heads.merge(layout, on="bucket", suffixes=("", "_of_layout"))
        for harm in self.harms:
            records = HARMS[harm](records, rng) if len(records) else records
        records[list(heads.columns)].to_csv(folder / "heads.csv", index=False)
        if not self.visits:
            path = folder / "visits.csv"
            path.write_text(path.read_text("utf-8").splitlines()[0] + "\n", "utf-8")
        if self.withdrawn:
            site = str(rng.choice(sorted(layout["site"].unique())))
            run("site", folder, site, "--withdraw", "--why", "moved away")


def seasons(count: int, seed: int) -> Iterator[Season]:
    """Draw seasons: every trial and every harm in turn, with one or two more."""
    rng = np.random.default_rng(seed)
    trials, harms = list(TRIALS), list(HARMS)
    for i in range(count):
        more = rng.choice(harms, int(rng.choice([0, 0, 1, 2])), replace=False)
        drawn = tuple(str(one) for one in rng.permutation([harms[i % len(harms)], *more]))
        place = (i + i // len(trials)) % len(trials)
        yield Season(trials[place], drawn, int(rng.integers(2**31)), bool(rng.random() < 0.9), bool(rng.random() < 0.1))


@dataclass
class Told:
    """What the commands said of a season, and what is wrong with that."""

    wrong: list[str] = field(default_factory=list)
    refused: dict[str, str] = field(default_factory=dict)

    def run(self, *arguments: Any, statuses: tuple[int, ...]) -> tuple[int, str]:
        """Run a command, and hold against it what no command may do."""
        name = " ".join(str(one) for one in arguments if not isinstance(one, Path))
        try:
            with warnings.catch_warnings(record=True) as warned:
                warnings.simplefilter("always")
                done = run(*arguments)
        except Exception as error:
            frames = [one for one in traceback.extract_tb(error.__traceback__) if "/trialkit/" in one.filename]
            place = f"{Path(frames[-1].filename).name}:{frames[-1].lineno}"
            self.wrong.append(f"{name}: traceback at {place}, {type(error).__name__}: {error}")
            return -1, ""
        self.wrong += [f"{name}: warns, {one.category.__name__}: {one.message}" for one in warned]
        if done.returncode not in statuses:
            self.wrong.append(f"{name}: exit status {done.returncode}: {done.stderr.strip()[-200:]}")
        if done.returncode != DONE and "rror: " not in done.stdout + done.stderr:
            self.wrong.append(f"{name}: refuses without a reason")
        self.wrong += [f"{name}: says {found!r}" for found in not_numbers(done.stdout + done.stderr)]
        if done.returncode:
            self.refused[name] = (done.stderr or done.stdout).strip().splitlines()[-1]
        return done.returncode, done.stdout


def not_numbers(text: str) -> list[str]:
    """Find what stands where a number should: nan or inf, alone."""
    plain = re.sub(r"(?s)<script.*?</script>|<style.*?</style>", "", text)
    return sorted(set(re.findall(r"(?<![\w./#-])[-+−]?(?:nan|NaN|inf|Infinity|NaT|<NA>)(?![\w./-])", plain)))


def told(folder: Path, ledger: Path, *, onward: bool) -> Told:
    """Take a season through check, analysis, report, package and ledger; onward, to advice and the next trial too."""
    told = Told()
    checked, _ = told.run("check", folder, statuses=(DONE, DATA_ERROR))
    told.run("analyse", folder, statuses=(DATA_ERROR,) if checked else (DONE, NOT_COMPUTED))
    written = folder / "results" / "results.json"
    if not written.is_file():
        told.run("report", folder, statuses=(WRONG_CALL,))
        told.run("evidence", "add", folder, "--ledger", ledger, statuses=(DATA_ERROR, WRONG_CALL))
        return told
    told.run("report", folder, statuses=(DONE,))
    told.run("pack", folder, statuses=(DONE,))
    results = json.loads(written.read_text("utf-8"))
    # A trial of which nothing was weighed is no evidence: it is refused with that word.
    is_evidence = results["no_decision"] != {"code": "nothing_usable"}
    told.run("evidence", "add", folder, "--ledger", ledger, statuses=(DONE if is_evidence else WRONG_CALL,))
    page = (folder / "results" / "report.html").read_text("utf-8")
    told.wrong += [f"report: shows {one!r}" for one in not_numbers(page)]
    told.wrong += _unsaid(folder, results, page)
    if onward:
        told.run("analyse", folder, "--all-pairs", statuses=(DONE, NOT_COMPUTED))
        told.run("report", folder, statuses=(DONE,))
        told.run("report", folder, "--verify", statuses=(DONE,))
    if onward and is_evidence:
        told.run("evidence", "pool", "--ledger", ledger, statuses=(DONE, NOT_COMPUTED))
        recommended, _ = told.run("recommend", ledger, statuses=(DONE, NOT_COMPUTED))
        if recommended == DONE:
            for path in sorted(ledger.glob("*.html")):
                told.wrong += [f"{path.name}: shows {one!r}" for one in not_numbers(path.read_text("utf-8"))]
        told.run("new", folder / "next", "--from", ledger, statuses=(DONE, NOT_COMPUTED))
    return told


def lost_levels(folder: Path) -> dict[str, list[str]]:
    """Levels of each varied factor of which no head became marketable, as the files say; none where no head at all."""
    heads, layout = (
        pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False) for name in ("heads", "layout")
    )
    cut = set(heads["bucket"][heads["outcome"].isin(CUT) & (heads["marketable"] != "no")])
    return {
        name: sorted(set(layout[name]) - set(layout[name][layout["bucket"].isin(cut)]))
        for name in FACTORS
        if cut and layout[name].nunique() > 1
    }


def _unsaid(folder: Path, results: dict[str, Any], page: str) -> Iterator[str]:
    """Tell of what was lost altogether and is recommended, or not said by name where the report begins."""
    first = re.sub(r"(?:<[^>]+>|\s)+", " ", page.split("<section", 2)[1])
    for name, levels in lost_levels(folder).items():
        recommended = (results["decision"] or {}).get("recommended", {}).get(name)
        for level in levels:
            if recommended == (float(level) if name == "dose_tsp" else level):
                yield f"recommends {name} {level}, which was lost altogether"
            if not re.search(rf"\bno head\b[^.]*{re.escape(level)}", first, re.IGNORECASE):
                yield f"the report does not begin with what became of {name} {level}"
