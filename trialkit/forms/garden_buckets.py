"""Which gardens have buckets, which buckets each has, and what forms call them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, TypeVar

from trialkit.documents.plan import Event
from trialkit.domain.errors import WrongCall
from trialkit.domain.treatment import Treatment
from trialkit.languages import gettext, translatable
from trialkit.planning.calendar import calendar
from trialkit.rules.mixings import feed_of
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.words.measures import MeasureSystem
from trialkit.words.pack_words import SameForAll, same_for_all
from trialkit.words.treatment_names import treatment_label

Thing = TypeVar("Thing")


@dataclass(frozen=True)
class NamedBucket:
    """A bucket as a form names it."""

    bucket: Annotated[str, "Its identity."]
    place: str
    treatment: Annotated[str, "As it is told; empty in a blind trial."]
    assigned: Annotated[Treatment, "In a blind trial not to be told."]


def buckets_of_garden(trial: CheckedTrial, site: str) -> list[NamedBucket]:
    """Name the buckets of a garden, in the order of their places.

    Raises
    ------
    WrongCall
        If the layout gives it none.
    """
    own = trial.layout[trial.layout["site"] == site]
    if own.empty:
        raise WrongCall(
            translatable("The layout gives {site} no buckets; there are {gardens}."),
            site=site,
            gardens=", ".join(gardens_with_buckets(trial)),
        )
    columns, blind = trial.protocol.treatment_columns, trial.protocol.trial.blind
    return [
        NamedBucket(
            str(row["bucket"]),
            gettext("block {block}, place {place}", block=row["block"], place=row["position"]),
            "" if blind else treatment_label(Treatment.of(row), columns, label_measures(trial)),
            Treatment.of(row),
        )
        for row in own.sort_values(["block", "position"], kind="stable").to_dict("records")
    ]


def shared_out(things: Sequence[Thing], parts: int) -> tuple[tuple[Thing, ...], ...]:
    """Share things out over lines or sheets, in order and as evenly as can be.

    Examples
    --------
    >>> shared_out("abcdefg", 3)
    (('a', 'b', 'c'), ('d', 'e'), ('f', 'g'))
    """
    ends = [math.ceil(part * len(things) / parts) for part in range(parts + 1)]
    return tuple(tuple(things[start:end]) for start, end in pairwise(ends))


def label_measures(trial: CheckedTrial) -> MeasureSystem:
    """How labels and maps, which have room for one measure, tell a dose."""
    feed = feed_of(trial.protocol, trial.products)
    is_metric = trial.protocol.trial.measures == "metric"
    return MeasureSystem("metric" if is_metric else "kitchen", feed.base.grams_per_tsp if feed else None)


def same_in_all(trial: CheckedTrial) -> SameForAll:
    """Say which cultivar and which nutrient all buckets have, also in a blind trial: there they are no treatment."""
    cultivar, dose = (trial.protocol.factors.get(name) for name in ("cultivar", "dose"))
    product = dose.product if dose and any(dose.levels) else None
    return same_for_all(tuple(map(str, cultivar.levels)) if cultivar else (), product)


def due_in_garden(trial: CheckedTrial, site: str) -> tuple[Event, ...]:
    """List what is due in a garden; without days of the calendar where it joined later, as it sows when it can."""
    schedule = trial.protocol.schedule
    if site in trial.amended.joined_in:
        schedule = schedule.model_copy(update={"sow_on": None})
    return calendar(trial.protocol.model_copy(update={"schedule": schedule}))


def gardens_with_buckets(trial: CheckedTrial) -> list[str]:
    """Name the gardens that have buckets, in the order of sites.csv."""
    placed = set(trial.layout["site"])
    return [str(site) for site in trial.sites["site"] if site in placed]


def garden_name(trial: CheckedTrial, site: str) -> str:
    """Name a garden: as sites.csv does, else by its code."""
    names = dict(zip(trial.sites["site"], trial.sites["name"], strict=True))
    return str(names.get(site) or site)
