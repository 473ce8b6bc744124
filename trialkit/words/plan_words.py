"""What a plan says, in sentences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import get_args

from trialkit.documents.plan import (
    DesignRow,
    Dropped,
    Grouping,
    LimitName,
    Method,
    Plan,
    PlanVerdict,
    PowerCurve,
    Prospect,
    Refusal,
    SensitivityRow,
    VarianceSource,
)
from trialkit.domain.thresholds import SAME_VALUE_G
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.domain.units import OUNCE_G, POUND_KG, Measures
from trialkit.languages import ENGLISH, gettext, ngettext, spoken, translatable
from trialkit.layouts.layout_warning import LayoutWarning
from trialkit.words.layout_words import warning_sentence
from trialkit.words.measures import BOTH, MeasureSystem, head_unit, least_weight, part_places, short_dose
from trialkit.words.phrases import DECIMALS, FINER, chance, count, decimals, listed, number
from trialkit.words.response_words import for_a_statistician
from trialkit.words.treatment_names import level_label, treatment_words

UNKNOWN = "–"
LEAST_TOLD_G = 0.05
"""Half of what the table of designs tells apart."""
GROUPING_WORDS: Mapping[Grouping, str] = {
    "site": "gardens",
    "block": "blocks within gardens",
    "whole_plot": "whole plots within blocks",
    "site_by_factor": "what treatments do, from garden to garden",
    "bucket": "buckets treated alike",
    "head": "heads within a bucket",
}
METHOD_WORDS: Mapping[Method, str] = {
    "exact": "exact",
    "approximate": "approximate, as the layout is not orthogonal",
    "simulated": "simulated trials",
}


VERDICT_WORDS: Mapping[PlanVerdict, str] = {
    PlanVerdict.RUN: translatable("Run it"),
    PlanVerdict.ENLARGE: translatable("Enlarge it"),
    PlanVerdict.ASK_LESS: translatable("Ask less of it"),
    PlanVerdict.NOT_WORTH_IT: translatable("Not worth it"),
}
COMMON = "common practice without a source"
HOW_TO_LIMIT = (
    "State under [limits] in trial.toml what you have room, hands and money for. The plan then stays within it."
)


def summary(plan: Plan) -> tuple[str, ...]:
    """Say what the adviser should know first."""
    system = MeasureSystem(plan.measures, plan.nutrient_g_per_tsp)
    return (
        f"{verdict_words(plan.verdict)}. {what_to_do(plan, system)}",
        worth_sentence(plan, system),
        takes_sentence(plan.designs[0]),
        chances_sentence(plan.value.asked),
        left_open_sentence(plan.value.asked, system),
        basis_sentence(plan),
        *now_sentences(plan),
        limits_sentence(plan),
        *map(warning_sentence, plan_warnings(plan)),
    )


def verdict_words(verdict: PlanVerdict) -> str:
    """Name what to do with a plan."""
    return gettext(VERDICT_WORDS[verdict])


def what_to_do(plan: Plan, system: MeasureSystem = BOTH) -> str:
    """Say what to do with the plan, in a sentence or two that its table of designs bears out."""
    return " ".join(_what_to_do(plan, system))


def _what_to_do(plan: Plan, system: MeasureSystem) -> Iterator[str]:
    asked, row = plan.designs[0], plan.designs[plan.proposed]
    if asked.beyond:
        yield gettext("As asked for, it goes beyond the limits.")
        yield from _beyond_words(asked, plan)
    if plan.verdict is PlanVerdict.NOT_WORTH_IT:
        if is_priced(plan):
            yield gettext("No trial within the limits earns in a year what its buckets cost.")
        else:
            least = least_weight(SAME_VALUE_G, system)
            yield gettext("No trial within the limits should bring even {weight} more a head.", weight=least)
        return
    if plan.proposed:
        yield gettext("Run {design} instead.", design=design_words(row, plan, system))
        yield _instead(row, asked, system)
    elif asked.beyond:
        yield gettext("No smaller trial like it was found within them. Drop treatments, or widen the limits.")
    else:
        yield from _why_run(plan, system)


def _why_run(plan: Plan, system: MeasureSystem) -> Iterator[str]:
    """Say why the trial asked for is as good as any, and what a far larger one would bring."""
    if is_priced(plan):
        yield gettext("No trial within the limits is clearly worth more after its cost.")
        return
    asked, *others = plan.designs
    least = least_weight(SAME_VALUE_G, system)
    yield gettext(
        "No trial of about its size is worth {weight} a head more. Much smaller ones are worth clearly less.",
        weight=least,
    )
    larger = [row for row in others if not row.beyond and row.value_g >= asked.value_g + SAME_VALUE_G]
    if larger:
        row = min(larger, key=lambda one: one.buckets)
        more, design = _more_instead(row, asked, system), design_words(row, plan, system)
        yield gettext("For {more}, run {design}.", more=more, design=design)
        yield gettext("But that takes {then} buckets instead of {now}.", then=row.buckets, now=asked.buckets)


def is_priced(plan: Plan) -> bool:
    """Whether designs were weighed by their worth in money less their cost."""
    return plan.value.asked.worth_a_year is not None and any(row.cost for row in plan.designs)


def _instead(row: DesignRow, asked: DesignRow, system: MeasureSystem) -> str:
    """Say what another design takes and brings."""
    more = _more_instead(row, asked, system)
    if row.buckets == asked.buckets:
        return gettext("That takes {number} buckets too, and should bring {more}.", number=row.buckets, more=more)
    return gettext(
        "That takes {then} buckets instead of {now}, and should bring {more}.",
        then=row.buckets,
        now=asked.buckets,
        more=more,
    )


def _more_instead(row: DesignRow, asked: DesignRow, system: MeasureSystem) -> str:
    """Say how far two values in the table lie apart, to the place that is written there."""
    more_g = _in_table_g(row.value_g, system.measures) - _in_table_g(asked.value_g, system.measures)
    if abs(more_g) < LEAST_TOLD_G:
        return gettext("as much a head")
    weight = value_words(abs(more_g), system)
    if more_g > 0:
        return gettext("{weight} more a head", weight=weight)
    return gettext("{weight} less a head", weight=weight)


def _beyond_words(asked: DesignRow, plan: Plan) -> Iterator[str]:
    """Say which limits are passed, with what was asked for and what is allowed."""
    counts: Mapping[LimitName, float] = {
        "buckets_per_site": asked.buckets // asked.sites,
        "heads_per_bucket": asked.heads,
        "sites": asked.sites,
        "visits": asked.visits,
        "budget": asked.cost,
    }
    for name in asked.beyond:
        yield gettext(
            "It asks for {amount}, where {most} is the most.",
            amount=_limit_words(name, counts[name]),
            most=number(_limit(plan, name), 9),
        )


def _limit(plan: Plan, name: LimitName) -> float:
    """Most of what is limited; a limit that is not there is never passed, nor told."""
    return float(getattr(plan.limits, name))


def _limit_words(name: LimitName, value: float) -> str:
    amount, several = number(value, 9), 1 if value == 1 else 2
    match name:
        case "buckets_per_site":
            return ngettext("{amount} bucket in a garden", "{amount} buckets in a garden", several, amount=amount)
        case "heads_per_bucket":
            return ngettext("{amount} head in a bucket", "{amount} heads in a bucket", several, amount=amount)
        case "sites":
            return ngettext("{amount} garden", "{amount} gardens", several, amount=amount)
        case "visits":
            return ngettext("{amount} visit of a garden", "{amount} visits of gardens", several, amount=amount)
        case "budget":
            return gettext("{amount} to spend on buckets", amount=amount)


def worth_sentence(plan: Plan, system: MeasureSystem = BOTH) -> str:
    """Say what the trial asked for is worth."""
    return gain_sentence(plan.value.asked, plan.value.heads_a_year, system)


def gain_sentence(one: Prospect, heads: float | None, system: MeasureSystem = BOTH) -> str:
    """Say what the trial asked for is worth, where so many heads are grown by the handout in a year."""
    gain = value_words(one.value_g, system)
    base = gettext(
        "By the trial as asked for, the next handout should gain {weight} per transplanted head.", weight=gain
    )
    if one.kg_a_year is None or heads is None:
        return base
    mass = mass_words(one.kg_a_year, system)
    if one.worth_a_year is None:
        year = gettext("That is {mass} a year on {heads} heads.", mass=mass, heads=plain(heads))
    else:
        year = gettext(
            "That is {mass} a year on {heads} heads, worth {money}.",
            mass=mass,
            heads=plain(heads),
            money=plain(one.worth_a_year),
        )
    return f"{base} {year}"


def takes_sentence(row: DesignRow) -> str:
    """Say what a design takes."""
    return size_sentence(row.buckets, row.sites, row.buckets * row.heads, row.visits, row.cost)


def size_sentence(buckets: int, sites: int, heads: int, visits: int, cost: float) -> str:
    """Say what a trial takes, before anything is worked out.

    Examples
    --------
    >>> size_sentence(24, 3, 48, 24, 0.0)
    'It takes 24 buckets in 3 gardens, 48 heads and 24 visits of gardens over the harvest.'
    >>> size_sentence(24, 3, 48, 24, 96.0)
    'It takes 24 buckets in 3 gardens, 48 heads, 24 visits of gardens over the harvest and 96 for buckets.'
    """
    sizes = {
        "buckets": count(buckets, "bucket", "buckets"),
        "gardens": count(sites, "garden", "gardens"),
        "heads": count(heads, "head", "heads"),
        "visits": count(visits, "visit", "visits"),
    }
    if not cost:
        return gettext("It takes {buckets} in {gardens}, {heads} and {visits} of gardens over the harvest.", **sizes)
    return gettext(
        "It takes {buckets} in {gardens}, {heads}, {visits} of gardens over the harvest and {money} for buckets.",
        money=plain(cost),
        **sizes,
    )


def worth_picture_finding(plan: Plan, system: MeasureSystem = BOTH) -> str:
    """Say what the picture of value against cost shows: what the most valuable design would add."""
    asked = plan.designs[0]
    best = max((row for row in plan.designs if not row.beyond), key=lambda row: row.value_g, default=asked)
    if best is asked or round(best.value_g, 1) <= round(asked.value_g, 1):
        value = value_words(asked.value_g, system)
        return f"No design within the limits is worth more than the {value} a head of the one asked for."
    return (
        f"From {asked.buckets} to {best.buckets} buckets, the value goes from {value_words(asked.value_g, system)} to "
        f"{value_words(best.value_g, system)} a head. Within the limits it goes no further."
    )


def chances_sentence(one: Prospect) -> str:
    """Say two different chances."""
    return gettext(
        "The chance that it changes what is recommended is {change}. The chance that the answer is then settled is "
        "{settled}.",
        change=chance(one.change),
        settled=chance(one.settled),
    )


def left_open_sentence(one: Prospect, system: MeasureSystem = BOTH) -> str:
    """Say what the trial is expected to leave open."""
    weight = value_words(one.half_width_g, system)
    if one.dose_half_width_tsp is None:
        return gettext("It should tell the gain within {weight} either way.", weight=weight)
    return gettext(
        "It should tell the gain within {weight} either way, and the best dose within {dose}.",
        weight=weight,
        dose=dose_width(one, system),
    )


def dose_width(one: Prospect, system: MeasureSystem = BOTH) -> str:
    """Say how far the interval of the best dose is expected to reach; a dash where dose is not tried."""
    return UNKNOWN if one.dose_half_width_tsp is None else short_dose(float(f"{one.dose_half_width_tsp:.2g}"), system)


def basis_sentence(plan: Plan) -> str:
    """Say what the values rest on."""
    lost = f"We assume that {percent(plan.value.gardens_lost_share)} of the gardens give up."
    match plan.value.source:
        case "ledger":
            return f"This rests on the {count(plan.value.trials, 'trial')} of the ledger. {lost}"
        case "common practice":
            return f"This rests on {COMMON}. {lost} A ledger of trials (--ledger) would tell more."
        case _:
            varies = f"How things vary rests on {source_words(plan.source)}."
            return f"{varies} What treatments may do rests on {COMMON}. {lost}"


def now_sentences(plan: Plan, system: MeasureSystem = BOTH) -> tuple[str, ...]:
    """Say what is recommended without the trial, where that is not the current practice."""
    now = plan.value.now
    if all(now.level(column) == level for column, level in plan.practice.levels.items()):
        return ()
    return (f"Without the trial, the recommendation is {treatment_words(now, system)}.",)


def limits_sentence(plan: Plan) -> str:
    """Say what no proposal goes beyond, and who says so."""
    names: tuple[LimitName, ...] = get_args(LimitName)
    said = {name: _limit_words(name, _limit(plan, name)) for name in names if _is_limited(plan, name)}
    stated = [words for name, words in said.items() if name in plan.limits.stated]
    asked = [words for name, words in said.items() if name not in plan.limits.stated and name != "sites"]
    parts = []
    if stated:
        parts.append(gettext("As [limits] in trial.toml states: at most {amounts}.", amounts=listed(stated)))
    if asked:
        parts.append(gettext("As trial.toml asks for: at most {amounts}.", amounts=listed(asked)))
    if "sites" not in plan.limits.stated:
        parts.append(gettext("Twice as many as there are: at most {gardens}.", gardens=said["sites"]))
    return " ".join(parts)


def _is_limited(plan: Plan, name: LimitName) -> bool:
    return getattr(plan.limits, name) is not None


def plan_warnings(plan: Plan) -> tuple[LayoutWarning, ...]:
    """Warnings to look at before anything is sown: few degrees of freedom are for a statistician."""
    return tuple(one for one in plan.warnings if one.code != "few error degrees of freedom")


def statistician_warnings(plan: Plan) -> tuple[LayoutWarning, ...]:
    """The others."""
    return tuple(one for one in plan.warnings if one.code == "few error degrees of freedom")


def design_words(row: DesignRow, plan: Plan, system: MeasureSystem = BOTH) -> str:
    """Name a design by its gardens and blocks, and by what else differs from the trial asked for."""
    if row.kind == "volunteers":
        parts = [
            _each(count(row.sites, "volunteer", "volunteers"), count(row.buckets // row.sites, "bucket", "buckets"))
        ]
    elif plan.kind == "volunteer blocks" and row.blocks == 1:
        parts = [count(row.sites, "volunteer", "volunteers")]
    else:
        parts = [_each(count(row.sites, "garden", "gardens"), _blocks_words(row.blocks, plan.kind))]
    if row.heads != plan.heads_per_bucket:
        parts.append(gettext("{heads} a bucket", heads=count(row.heads, "head", "heads")))
    if row.kind == "practice buckets":
        parts.append(
            gettext(
                "{number} buckets of the current practice for each of another treatment", number=row.practice_buckets
            )
        )
    if row.dropped:
        parts.append(_without(row.dropped, system))
    return ", ".join(parts)


def _each(places: str, each: str) -> str:
    return gettext("{places} with {number} each", places=places, number=each)


def _blocks_words(number: int, kind: str) -> str:
    """Count what a garden has several of, by the kind of layout."""
    match kind:
        case "volunteer blocks":
            return count(number, "volunteer", "volunteers")
        case "Latin square":
            return count(number, "square", "squares")
        case "row-column":
            return count(number, "rectangle", "rectangles")
        case _:
            return count(number, "block", "blocks")


def _without(dropped: Dropped, system: MeasureSystem) -> str:
    """Name the level that a design leaves out; only cultivars can be so alike that any will do."""
    if dropped.level is None:
        return gettext("without one cultivar")
    level = level_label(dropped.factor, dropped.level, system)
    if dropped.factor == "acidifier" and dropped.level == NO_PRODUCT:
        return gettext("without buckets that get {level}", level=level)
    return gettext("without {level}", level=level)


def value_words(value_g: float, system: MeasureSystem) -> str:
    """Write a value or a half-width: as heads are told, a small part of one to a decimal more.

    Examples
    --------
    >>> value_words(27.38, MeasureSystem("both")), value_words(27.38, MeasureSystem()), value_words(1.24, BOTH)
    ('27 g', '1.0 oz', '1.2 g')
    """
    amount = value_g / OUNCE_G if system.measures == "kitchen" else value_g
    return f"{decimals(amount, part_places(value_g, system.measures))} {head_unit(system.measures)}"


def _in_table_g(value_g: float, measures: Measures) -> float:
    """A value to the place that the table of designs has, in g."""
    unit_g = OUNCE_G if measures == "kitchen" else 1.0
    return round(value_g / unit_g, DECIMALS[head_unit(measures)] + FINER) * unit_g


def mass_words(mass_kg: float, system: MeasureSystem) -> str:
    """Write what is gained in a year.

    Examples
    --------
    >>> mass_words(25.0, MeasureSystem()), mass_words(25.0, MeasureSystem("metric"))
    ('55.1 lb', '25 kg')
    """
    return f"{plain(mass_kg / POUND_KG)} lb" if system.measures == "kitchen" else f"{plain(mass_kg)} kg"


def power_sentences(plan: Plan) -> tuple[str, ...]:
    """Say what its tests can tell."""
    found, wanted = plan.difference, percent(plan.power_wanted)
    sentences = [
        f"This trial would find a difference of {plain(plan.margin_g)} g a head from the current practice with a "
        f"chance of {whole_percent(found.power)}. It would find one of {plain(found.detectable_g)} g with a chance of "
        f"{wanted}.",
        f"Its interval for a difference would reach about {plain(found.half_width_g)} g either way, allowing for all "
        "comparisons.",
    ]
    if found.power < plan.power_wanted:
        sentences.append(
            f"Tests ask for {wanted} as a rule. A trial with less may still be worth running, as its answer does not "
            "wait for a test. It is what all buckets together make most likely."
        )
    return tuple(sentences)


def refusal_sentence(refusal: Refusal) -> str:
    """Say why a size of trial cannot be analysed, and what to change."""
    match refusal.code:
        case "not analysable":
            told = gettext(
                "A trial laid out like this could not be analysed. Add a block or a garden, or take fewer treatments."
            )
            # the engine's own words are English
            return f"{told} {for_a_statistician(refusal.detail)}" if spoken() == ENGLISH else told
        case "not comparable":
            return gettext("No treatment shares a block or garden with the current practice, so none can be compared.")
        case "simulations failed":
            return gettext(
                "{failed} of {number} simulated trials could not be analysed, so the power would say little. This "
                "layout has too few blocks or buckets for its model. Add a block or garden, or take fewer treatments.",
                failed=refusal.failed,
                number=refusal.replicates,
            )
        case "nothing fitted":
            return gettext(
                "None of {number} simulated trials could be analysed, as this layout is too small.",
                number=refusal.replicates,
            )


def source_words(source: VarianceSource) -> str:
    """Say where assumed variances come from."""
    match source.code:
        case "common practice":
            return COMMON
        case "trial.toml":
            return f"trial.toml and, for the rest, {COMMON}"
        case "earlier trial":
            return f"the trial “{source.trial}”"
        case "ledger":
            return "the trials of the ledger"


def changed_words(row: SensitivityRow) -> str:
    """Name what is changed, and how."""
    what = "everything" if row.changed == "all" else GROUPING_WORDS[row.changed]
    return f"{what}, {'half' if row.factor < 1 else 'double'}"


def curve_words(curve: PowerCurve) -> str:
    """Name a power curve by the variances it rests on."""
    if curve.variance_factor == 1:
        return "as assumed"
    return f"variances {'half' if curve.variance_factor < 1 else 'double'}"


def plain(value: float | None, digits: int = 3) -> str:
    """Write a number to so many significant digits, whole from there up; a dash where there is none.

    Examples
    --------
    >>> plain(1234.4), plain(12.345), plain(None)
    ('1234', '12.3', '–')
    """
    if value is None:
        return UNKNOWN
    return f"{value:.0f}" if abs(value) >= 10**digits else number(value, digits)


def percent(share: float) -> str:
    """Write a share as a percentage.

    Examples
    --------
    >>> percent(0.95), percent(0.125)
    ('95 %', '12.5 %')
    """
    return f"{plain(share * 100)} %"


def whole_percent(share: float | None) -> str:
    """Write a chance as a whole percentage; a dash where there is none.

    Examples
    --------
    >>> whole_percent(0.4123), whole_percent(None)
    ('41 %', '–')
    """
    return UNKNOWN if share is None else percent(round(share, 2))
