"""Pictures of a trial as matplotlib axes: raw records by seaborn, what was found by intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trialkit.documents.results import Results
from trialkit.domain.errors import NotComputed
from trialkit.words.measures import measures_of
from trialkit.words.treatment_names import treatment_label

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

WEIGHT = "Head weight (g)"
ROW_INCHES = 0.35


def draw_records(records: pd.DataFrame, axes: Axes | None = None) -> Axes:
    """Draw every weighed head by treatment, gardens told apart by colour.

    Parameters
    ----------
    records : pandas.DataFrame
        A row a head: ``treatment`` (its label), ``site`` and ``weight_g``.
    axes : matplotlib.axes.Axes, optional
        Where to draw; new ones if not given.
    """
    import seaborn as sns

    weighed = records[records["weight_g"].notna()]
    axes = axes or _axes(weighed["treatment"].nunique())
    sns.stripplot(weighed, x="weight_g", y="treatment", hue="site", ax=axes, size=3, alpha=0.6, orient="h")
    axes.set(xlabel=WEIGHT, ylabel="")
    return axes


def draw_gains(results: Results, axes: Axes | None = None) -> Axes:
    """Draw what each treatment is expected to gain over the current practice, with its interval.

    Raises
    ------
    NotComputed
        If nothing can be recommended.
    """
    decision = results.decision
    if decision is None:
        raise NotComputed("These results hold no recommendation, and so no gains to draw.")
    shown = sorted((one for one in decision.candidates if one.stood.buckets), key=lambda one: one.expected_value)
    axes = axes or _axes(len(shown))
    system = measures_of(results)
    columns = [
        column for column in ("cultivar", "dose_tsp", "acidifier") if shown and column in shown[-1].treatment.levels
    ]
    for row, one in enumerate(shown):
        gain, colour = one.gain, "C1" if one.is_recommended else "C0"
        if gain is None:
            axes.plot([0], [row], "o", color="0.4")
        else:
            axes.plot([gain.lower, gain.upper], [row, row], color=colour)
            axes.plot([gain.estimate], [row], "o", color=colour)
    axes.set_yticks(range(len(shown)), [treatment_label(one.treatment, columns, system) for one in shown])
    axes.axvline(0, color="0.6", linewidth=0.8)
    axes.set_xlabel("Gain over the current practice (g per transplanted head)")
    return axes


def _axes(rows: int) -> Axes:
    import matplotlib.pyplot as plt

    return plt.subplots(figsize=(7, 1.2 + ROW_INCHES * rows), layout="constrained")[1]
