"""What a plan says on its card: what the trial takes, by when, and what it will find out."""

from __future__ import annotations

from trialkit.documents.plan import DesignRow, Plan, Prospect
from trialkit.words.measures import BOTH, MeasureSystem
from trialkit.words.phrases import count, date_words
from trialkit.words.plan_words import left_open_sentence, mass_words, plain, plan_warnings, value_words


def takes_in_short(row: DesignRow) -> tuple[str, str]:
    """Say how many buckets a design takes, and what goes with them.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> takes_in_short(SimpleNamespace(buckets=24, heads=2, visits=30))
    ('24 buckets', '48 heads, 30 visits of gardens over the harvest')
    """
    visits = f"{count(row.visits, 'visit')} of gardens over the harvest"
    return count(row.buckets, "bucket"), f"{count(row.buckets * row.heads, 'head')}, {visits}"


def cost_in_short(plan: Plan, row: DesignRow) -> tuple[str, str] | None:
    """Say what a design costs, and what that counts; None where no price is known."""
    if row.cost:
        return plain(row.cost), "for its buckets, in the money of cost_per_bucket"
    if row is plan.designs[0] and plan.shopping.cost:
        return f"{plan.shopping.cost:.2f}", "for what products.csv has prices of, in their money"
    return None


def when_in_short(plan: Plan) -> tuple[str, str]:
    """Say when the trial begins, and by when its answer can be worked out."""
    first, last = plan.calendar[0], plan.calendar[-1]
    if first.on and last.on:
        return f"Sow on {date_words(first.on)}", f"the last harvest is on {date_words(last.on)}"
    days = count(last.day - first.day, "day")
    return f"{days} from sowing", "to the last harvest; schedule.sow_on in trial.toml makes dates of it"


def gain_of_trial(plan: Plan, one: Prospect, system: MeasureSystem = BOTH) -> tuple[str, str]:
    """Say what a trial should bring: the gain a head, then a year's, and how closely it tells it."""
    year = ""
    if one.kg_a_year is not None:
        money = f", worth {plain(one.worth_a_year)}" if one.worth_a_year is not None else ""
        heads = f" on {plain(plan.value.heads_a_year)} heads"
        year = f" That is {mass_words(one.kg_a_year, system)} a year{heads}{money}."
    return (
        f"{value_words(one.value_g, system)} more a head",
        f"is what the next handout should gain by it.{year} {left_open_sentence(one, system)}",
    )


def chances_of_trial(one: Prospect) -> tuple[tuple[float, str], tuple[float, str]]:
    """Two different chances, each with what it is of."""
    return (
        (one.change, "that another treatment is recommended after it"),
        (one.settled, "that the answer is then settled"),
    )


def warnings_in_short(plan: Plan) -> str:
    """Say how many warnings there are to look at; nothing where there is none."""
    warnings = len(plan_warnings(plan))
    stand = "It stands" if warnings == 1 else "They stand"
    return f"Look at {count(warnings, 'warning')} before you sow. {stand} below the picture." if warnings else ""
