"""The model that the randomisation implies: derived from the protocol and the layout, never typed by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.documents.findings import Note, NoteCode
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS


@dataclass(frozen=True)
class DerivedModel:
    """Fixed and random part for any response of a trial."""

    treatment: Annotated[
        tuple[str, ...], "Columns of the varied treatment factors; they enter with all their interactions."
    ]
    nuisance: Annotated[tuple[str, ...], "Groupings with too few levels to be random, entered as fixed."]
    random: Annotated[tuple[str, ...], "Random terms besides the residual."]
    residual: Annotated[
        Literal["heads", "buckets"],
        "What the residual is between: heads within buckets, or buckets where each has one head.",
    ]
    notes: Annotated[tuple[Note, ...], "What the adviser should know about the choice."]
    confounded: Annotated[
        tuple[str, ...], "Treatment effects differing between sites that the layout cannot tell from other variation."
    ] = ()
    residual_by: Annotated[str | None, "Column whose levels have residual variances of their own."] = None

    def formula(self, response: str, treatment: str | None = None) -> str:
        """Write the model formula, with the factors crossed or one joint `treatment` column."""
        return f"{response} ~ {' + '.join([*self.nuisance, treatment or ' * '.join(self.treatment)])}"

    def noting(self, code: NoteCode) -> DerivedModel:
        """Return the model with a further note."""
        return replace(self, notes=(*self.notes, Note(code)))

    def with_spread_by_site(self) -> DerivedModel:
        """Return the model in which buckets of each site have a variance of their own."""
        return replace(self, residual_by="site").noting("spread_by_garden")

    def on_bucket_means(self) -> DerivedModel:
        """Return the model for one row a bucket: the bucket becomes the residual."""
        random = tuple(term for term in self.random if term != "bucket")
        return replace(self, random=random, residual="buckets").noting("bucket_means")


def derive_model(heads: pd.DataFrame, treatment: Sequence[str], strata: Sequence[str]) -> DerivedModel:
    """Derive the model from how the trial was randomised.

    Heads of one bucket share a solution, so the bucket is the replicate (Hurlbert 1984, Ecol. Monogr.)
    and stands in the model whenever a bucket has more than one head. Sites, and the treatment effects that differ
    between them, are random from three sites up; fewer are fixed and the conclusions hold for those sites only.

    Heads have bucket, site, the treatment columns and the places that the strata, such as ``"site:block"``, name.
    """
    interactions = [f"site:{column}" for column in treatment]
    random: list[str] = []
    nuisance: list[str] = []
    notes: list[Note] = []
    confounded: list[str] = []
    kept: list[NDArray[np.intp]] = []
    for term in ["site", *strata, "bucket", *interactions]:
        groups = heads.groupby(term.split(":"), sort=False, observed=True).ngroup().to_numpy()
        levels = len(np.unique(groups))
        if term in interactions and heads["site"].nunique() < FEWEST_RANDOM_LEVELS:
            continue
        if levels in (1, len(heads)) or any(same_grouping(groups, other) for other in kept):
            confounded += [term] * (term in interactions)
            continue
        kept.append(groups)
        if levels >= FEWEST_RANDOM_LEVELS:
            random.append(term)
        else:
            nuisance.append(term.split(":")[-1])
            notes.append(Note("few_levels", count=levels, term=term))
    several = heads.groupby("bucket").size().max() > 1
    residual: Literal["heads", "buckets"] = "heads" if several else "buckets"
    return DerivedModel(tuple(treatment), tuple(nuisance), tuple(random), residual, tuple(notes), tuple(confounded))


def same_grouping(first: NDArray[np.intp], second: NDArray[np.intp]) -> bool:
    """Tell whether two groupings put the rows together alike, so that one variance cannot be told from the other."""
    both = len(np.unique(first * (second.max() + 1) + second))
    return both == len(np.unique(first)) == len(np.unique(second))
