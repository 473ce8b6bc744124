"""Pictures of a trial as matplotlib axes: raw records by seaborn, what was found by intervals."""

from __future__ import annotations

from collections.abc import Callable, Mapping
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


def draw_doses(results: Results, axes: Axes | None = None) -> Axes:
    """Draw what each dose gives by the curve, with its interval, and the raw means of the doses tried.

    Raises
    ------
    NotComputed
        If the trial has no curve of doses.
    """
    advice = results.decision.dose if results.decision else None
    if advice is None or not advice.points:
        raise NotComputed("These results hold no curve of doses to draw.")
    points = sorted(advice.points, key=lambda point: point.dose_tsp)
    axes, doses = axes or _axes(8), [point.dose_tsp for point in points]
    axes.fill_between(doses, [point.lower for point in points], [point.upper for point in points], alpha=0.2)
    axes.plot(doses, [point.yield_g for point in points])
    tried = [(point.dose_tsp, point.raw_yield_g) for point in points if point.raw_yield_g is not None]
    axes.plot([dose for dose, _ in tried], [raw for _, raw in tried], "o", color="C1")
    axes.set(xlabel="Dose (level teaspoons a bucket)", ylabel="Yield (g per transplanted head)")
    return axes


def draw_gardens(results: Results, axes: Axes | None = None) -> Axes:
    """Draw by how much the recommended treatment's buckets were heavier than the current practice's, garden by garden.

    Raises
    ------
    NotComputed
        If no garden has both.
    """
    weight = results.responses.get("weight_g")
    gardens = weight.gardens if weight else None
    differences = sorted(gardens.differences, key=lambda one: one.difference) if gardens else []
    if not differences:
        raise NotComputed("These results hold no garden in which to compare with the current practice.")
    axes = axes or _axes(len(differences))
    axes.plot([one.difference for one in differences], range(len(differences)), "o")
    axes.set_yticks(range(len(differences)), [one.site for one in differences])
    axes.axvline(0, color="0.6", linewidth=0.8)
    axes.set_xlabel("Difference from the current practice (g)")
    return axes


def draw_residuals(results: Results, axes: Axes | None = None) -> Axes:
    """Draw the residuals of bucket weights against normal quantiles, with the band that holds 95 of 100 trials whole.

    Raises
    ------
    NotComputed
        If the weights were not analysed.
    """
    weight = results.responses.get("weight_g")
    found = weight.diagnostics if weight else None
    if found is None or not found.quantiles:
        raise NotComputed("These results hold no residuals to draw.")
    points = sorted(found.quantiles, key=lambda point: point.expected)
    axes, expected = axes or _axes(8), [point.expected for point in points]
    axes.fill_between(expected, [point.lower for point in points], [point.upper for point in points], alpha=0.2)
    axes.plot(expected, [point.studentised for point in points], "o", markersize=3)
    axes.set(xlabel="Normal quantile", ylabel="Residual (standard deviations)")
    return axes


PICTURES: Mapping[str, Callable[[Results, Axes | None], Axes]] = {
    "gains": draw_gains,
    "doses": draw_doses,
    "gardens": draw_gardens,
    "residuals": draw_residuals,
}
"""Pictures of results, by name."""


def _axes(rows: int) -> Axes:
    import matplotlib.pyplot as plt

    return plt.subplots(figsize=(7, 1.2 + ROW_INCHES * rows), layout="constrained")[1]
