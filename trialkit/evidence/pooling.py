"""One model for the buckets of all trials: what treatments yield, and how much that differs between trials and gardens.

Raw records are pooled in one stage, buckets being the replicates. Doses meet on the scale of nitrogen in the bucket;
treatments are compared only where trials link them.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Annotated

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.analysis.derived_model import same_grouping
from trialkit.documents.recommended import FewTrials, Grouping
from trialkit.domain.errors import NotComputed
from trialkit.domain.factors import FactorName
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.domain.treatment import is_same_strength
from trialkit.evidence.accepting import BUCKET_COLUMNS, BUCKETS_FILE
from trialkit.evidence.ledger import Entry, LedgerDamaged
from trialkit.mixed import MixedFit, MixedModelError, fit_mixed
from trialkit.tables.formula_text import restored

TYPES = {
    "bucket": "str", "site": "str", "block": "str", "whole_plot": "str", "cultivar": "str", "acidifier": "str",
    "dose_tsp": "float64", "n_mg_l": "float64", "planned": "int64", "recorded": "int64", "usable": "int64",
    "yield_g": "float64",
}  # fmt: skip


def read_buckets(entries: Sequence[Entry]) -> pd.DataFrame:
    """Read the buckets of entries as one table.

    To the columns of ``buckets.csv`` come ``trial`` (place among the entries) and ``trial_site`` (a site of that
    trial), both as categories.

    Raises
    ------
    LedgerDamaged
        If a file is not what was put there.
    """
    header = ",".join(BUCKET_COLUMNS).encode() + b"\n"
    bodies, counts = [], []
    for entry in entries:
        data = entry.read(BUCKETS_FILE)
        if not data.startswith(header):
            raise LedgerDamaged(f"{entry.folder / BUCKETS_FILE} has other columns than {', '.join(BUCKET_COLUMNS)}.")
        bodies.append(data[len(header) :])
        counts.append(bodies[-1].count(b"\n"))
    text = ["bucket", "site", "block", "whole_plot", "cultivar", "acidifier"]
    rows = pd.read_csv(
        io.BytesIO(header + b"".join(bodies)),
        dtype=TYPES,
        keep_default_na=False,
        na_values={name: [""] for name in TYPES if name not in text},
    )
    if len(rows) != sum(counts):
        raise LedgerDamaged("A file of buckets has a line break within a cell: no file of this ledger has.")
    for name in ("cultivar", "acidifier"):  # names may begin like a formula, which a table is not to be taken for
        rows[name] = rows[name].map({text: restored(text) for text in rows[name].unique()})
    trial = np.repeat(np.arange(len(entries)), counts)
    rows["trial"] = pd.Categorical.from_codes(trial, [entry.listed.id for entry in entries])
    joint = rows["trial"].cat.codes.astype(str) + "/" + rows["site"]
    return rows.assign(trial_site=joint.astype("category"))


def common_doses(nitrogen: Iterable[float]) -> dict[float, float]:
    """Set doses (mg/L) together that are the same but for spoons and labels; missing ones are left out.

    Doses in order of size are one as long as each counts as the one before (`is_same_strength`); all go by their mean.

    Examples
    --------
    >>> common_doses([90.0, 93.0, 135.0, 45.0])
    {45.0: 45.0, 90.0: 91.5, 93.0: 91.5, 135.0: 135.0}
    """
    ordered = sorted({float(value) for value in nitrogen if np.isfinite(value)})
    groups: list[list[float]] = [[value] for value in ordered[:1]]
    for before, value in pairwise(ordered):
        if is_same_strength(before, value):
            groups[-1].append(value)
        else:
            groups.append([value])
    return {value: round(float(np.mean(group)), 1) for group in groups for value in group}


def with_treatments(rows: pd.DataFrame, products: Mapping[str, str | None]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Label each bucket with its treatment.

    Rows are as from `read_buckets`; `products` has the product that a trial's doses are doses of, to tell apart doses
    whose nitrogen is not known.

    Returns
    -------
    rows : pandas.DataFrame
        With ``n_level`` (text) and the joint ``treatment``, a category.
    treatments : pandas.DataFrame
        Cultivar, ``n_mg_l`` (missing where not known), ``n_level`` and acidifier of each, by label.
    """
    means = common_doses(rows["n_mg_l"].unique())
    nitrogen = rows["n_mg_l"].map(means)
    product = rows["trial"].map({trial: name or "an unnamed nutrient" for trial, name in products.items()}).astype(str)
    spoons = rows["dose_tsp"].map(lambda dose: "" if pd.isna(dose) else f"{dose:g} tsp of ")
    unknown = spoons.where(spoons == "", spoons + product)
    level = nitrogen.map(lambda n: f"{n:g} mg/L N", na_action="ignore").astype(object).where(nitrogen.notna(), unknown)
    labelled = rows.assign(n_level=level.astype(str), n_mg_l=nitrogen)
    columns = ["cultivar", "n_mg_l", "n_level", "acidifier"]
    treatments = labelled[columns].drop_duplicates().sort_values(["cultivar", "n_mg_l", "n_level", "acidifier"])
    width = len(str(len(treatments)))
    treatments.index = pd.Index([f"t{i + 1:0{width}d}" for i in range(len(treatments))])
    by_level = {tuple(row): label for label, *row in treatments[["cultivar", "n_level", "acidifier"]].itertuples()}
    keys = zip(labelled["cultivar"], labelled["n_level"], labelled["acidifier"], strict=True)
    labels = pd.Categorical([by_level[key] for key in keys], categories=list(treatments.index))
    return labelled.assign(treatment=labels), treatments


def linked(rows: pd.DataFrame, current: str) -> list[str]:
    """Treatments that trials link with the current practice: in the same trial, or over others, step by step."""
    trials, labels = rows["trial"].cat.codes.to_numpy(), rows["treatment"].cat
    pairs = np.unique(np.column_stack([trials, labels.codes]), axis=0)
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    count, offset = len(labels.categories), len(rows["trial"].cat.categories)
    ones = np.ones(len(pairs))
    graph = coo_array((ones, (pairs[:, 0], offset + pairs[:, 1])), shape=(offset + count, offset + count))
    _, component = connected_components(graph, directed=False)
    own = component[offset:]
    at = list(labels.categories).index(current)
    return [str(label) for label, group in zip(labels.categories, own, strict=True) if group == own[at]]


@dataclass(frozen=True)
class Pool:
    """Trials pooled."""

    rows: Annotated[pd.DataFrame, "The buckets that the model was fitted to."]
    every: Annotated[pd.DataFrame, "Those and the buckets without a record."]
    treatments: Annotated[pd.DataFrame, "Those that can be compared, by label."]
    apart: Annotated[pd.DataFrame, "Those that no trial links with the current practice."]
    current: Annotated[str, "Label of the current practice."]
    fit: MixedFit
    # In the model.
    trials: int
    gardens: int
    random: tuple[str, ...]
    few_trials: Annotated[
        tuple[FewTrials, ...],
        "Factors that too few trials varied to tell how much their effect differs between trials.",
    ]
    not_separated: Annotated[tuple[Grouping, ...], "Between which it could not be told how much effects differ."]

    @cached_property
    def tried_in(self) -> dict[str, frozenset[str]]:
        """Trials that tried each treatment, by label."""
        pairs = self.rows[["treatment", "trial"]].drop_duplicates()
        return {
            str(label): frozenset(map(str, some)) for label, some in pairs.groupby("treatment", observed=True)["trial"]
        }

    @property
    def varied(self) -> tuple[str, ...]:
        """Factors that differ among the treatments."""
        return tuple(name for name in LEVELS if self.treatments[name].nunique() > 1)


LEVELS = ("cultivar", "n_level", "acidifier")
GROUPINGS: tuple[Grouping, ...] = ("trial", "trial_site")
"""Between which effects of treatments may differ."""
FACTOR_OF_LEVEL: Mapping[str, FactorName] = {"cultivar": "cultivar", "n_level": "dose", "acidifier": "acidifier"}


def pool(rows: pd.DataFrame, treatments: pd.DataFrame, current: str) -> Pool:
    """Fit one model to the buckets of all trials.

    Yield of a transplanted head by treatment; random trial, site within trial, block, whole plot, and for each varied
    factor its interactions with trial and with site, where three or more varied it. A trial's own effect takes up
    what a season does to all treatments alike.

    Rows and treatments are as from `with_treatments`; `current` is the label of the current practice.

    Raises
    ------
    NotComputed
        If nothing is linked with the current practice, or the records cannot tell.
    """
    reached = linked(rows[rows["yield_g"].notna()], current)
    every = rows[rows["treatment"].isin(reached)]
    known = every[every["yield_g"].notna()].copy()
    if known.empty or known["treatment"].nunique() < 2:
        raise NotComputed("No trial links another treatment with the current practice, so there is nothing to compare.")
    for column in ("trial", "trial_site", "treatment"):
        known[column] = known[column].cat.remove_unused_categories()
    kept = treatments.loc[[label for label in treatments.index if label in set(known["treatment"].cat.categories)]]
    varied = [name for name in LEVELS if kept[name].nunique() > 1]
    fixed, random, few_trials = _model(known, varied)
    fit, random, not_separated = _fitted(known, fixed, random)
    return Pool(
        rows=known,
        every=every,
        treatments=kept,
        apart=treatments.drop(index=reached),
        current=current,
        fit=fit,
        trials=known["trial"].nunique(),
        gardens=known["trial_site"].nunique(),
        random=tuple(random),
        few_trials=few_trials,
        not_separated=not_separated,
    )


def _model(rows: pd.DataFrame, varied: Sequence[str]) -> tuple[list[str], list[str], tuple[FewTrials, ...]]:
    """Fixed and random terms besides the treatment, and what there was too little of to tell."""
    fixed: list[str] = []
    random: list[str] = []
    few_trials: list[FewTrials] = []
    seen: list[NDArray[np.intp]] = []
    interactions = [f"{grouping}:{name}" for grouping in GROUPINGS for name in varied]
    for term in (*GROUPINGS, "trial_site:block", "trial_site:block:whole_plot", *interactions):
        grouping, *rest = term.split(":")
        groups = rows.groupby([grouping, *rest], sort=False, observed=True).ngroup().to_numpy()
        levels = len(np.unique(groups))
        if levels in (1, len(rows)) or any(same_grouping(groups, other) for other in seen):
            continue
        telling = rows[grouping].nunique()
        if term in interactions:
            telling = int((rows.groupby(grouping, observed=True)[rest[0]].nunique() > 1).sum())
        if telling >= FEWEST_RANDOM_LEVELS:
            seen.append(groups)
            random.append(term)
        elif term == grouping:
            seen.append(groups)
            fixed = [term]  # sites lie within trials
        elif term in interactions and grouping == "trial" and telling:
            few_trials.append(FewTrials(FACTOR_OF_LEVEL[rest[0]], telling))
    return fixed, random, tuple(few_trials)


def _fitted(
    rows: pd.DataFrame, fixed: Sequence[str], random: Sequence[str]
) -> tuple[MixedFit, list[str], tuple[Grouping, ...]]:
    """Fit; where interactions cannot be told from the rest, without these."""
    formula = " + ".join(["yield_g ~ treatment", *fixed])
    without_trials = [term for term in random if not term.startswith("trial:")]
    plain = [term for term in random if term.split(":")[-1] not in LEVELS]
    error: MixedModelError | None = None
    for terms in (list(random), without_trials, plain):
        try:
            fit = fit_mixed(rows, formula, terms)
        except MixedModelError as found:
            error = found
            continue
        left = {term.split(":")[0] for term in random if term not in terms}
        return fit, terms, tuple(grouping for grouping in GROUPINGS if grouping in left)
    raise NotComputed(
        f"The trials cannot tell the treatments apart from gardens and seasons. (For a statistician: {error})"
    )


def links(pooled: Pool, label: str) -> tuple[int, int]:
    """How many trials tried a treatment, and how many tried it beside the current practice."""
    tried = pooled.tried_in
    return len(tried[label]), len(tried[label] & tried[pooled.current])
