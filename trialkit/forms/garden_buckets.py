"""Which gardens have buckets, and which buckets each has."""

from __future__ import annotations

from trialkit.domain.errors import WrongCall
from trialkit.rules.trial_folder import Trial


def buckets_of_garden(trial: Trial, site: str) -> list[str]:
    """Name the buckets of a garden, in the order of their places.

    Raises
    ------
    WrongCall
        If the layout gives it none.
    """
    own = trial.layout[trial.layout["site"] == site]
    if own.empty:
        raise WrongCall(f"The layout gives {site} no buckets; there are {', '.join(gardens_with_buckets(trial))}.")
    return [str(bucket) for bucket in own.sort_values(["block", "position"], kind="stable")["bucket"]]


def gardens_with_buckets(trial: Trial) -> list[str]:
    """Name the gardens that have buckets, in the order of sites.csv."""
    placed = set(trial.layout["site"])
    return [str(site) for site in trial.sites["site"] if site in placed]
