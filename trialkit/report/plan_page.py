"""`plan_html`: a plan as one page that needs nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import astuple, dataclass
from functools import cache, partial

from trialkit.documents.plan import DesignRow, Plan, PlannedBench, Prospect, ShoppingItem
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.treatment import Treatment
from trialkit.pages.head_weights import amount, in_unit
from trialkit.pages.numerals import plain, tie, told
from trialkit.pages.safe_text import safe_document
from trialkit.pages.shell import page_script, page_style, render_page
from trialkit.pages.table import Column, Row, Table, columns, make_table, text_column
from trialkit.report.figures.power_curves import power_picture
from trialkit.report.figures.value_against_cost import worth_picture
from trialkit.report.page import TEMPLATES
from trialkit.report.plan_card import plan_card
from trialkit.report.said_cautions import said_cautions
from trialkit.words.calendar_words import event_detail, event_title
from trialkit.words.factor_words import effect_label
from trialkit.words.layout_words import warning_sentence
from trialkit.words.measures import MeasureSystem, Sentence, each_way, in_every_measure
from trialkit.words.phrases import chance, count, date_words
from trialkit.words.plan_words import (
    GROUPING_WORDS,
    HOW_TO_LIMIT,
    METHOD_WORDS,
    basis_sentence,
    changed_words,
    design_words,
    dose_width,
    limits_sentence,
    mass_words,
    percent,
    plan_warnings,
    power_sentences,
    refusal_sentence,
    source_words,
    statistician_warnings,
    value_words,
    whole_percent,
)
from trialkit.words.shopping_words import item_amount, item_name, item_note
from trialkit.words.treatment_names import treatment_label

EARLIER = "Once a trial of your own is analysed, plan with what it found: trialkit plan DIR --ledger ITS-FOLDER."
SOME_BUDGET = 500
"""To show how a budget is stated where nothing has a cost."""


@dataclass(frozen=True)
class BenchLine:
    """Buckets side by side: a row of the bench, or a block."""

    label: str
    places: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class BenchPicture:
    """A garden's bench: identity and treatment's number of each bucket, line by line."""

    name: str
    lines: tuple[BenchLine, ...]


def plan_html(plan: Plan) -> str:
    """Write a plan as one self-contained HTML page.

    Parameters
    ----------
    plan : Plan
        Every text in it may come from strangers.
    """
    safe = safe_document(plan)
    numbers = _numbers(safe)
    return render_page(
        TEMPLATES,
        "plan.html.jinja",
        plan_style(),
        page_script(),
        plan=safe,
        facts=_facts(safe),
        card=plan_card(safe, partial(_said, safe)),
        basis=basis_sentence(safe),
        versus=_versus_table(safe),
        warnings=tuple(map(warning_sentence, plan_warnings(safe))),
        picture=worth_picture(safe),
        designs=_design_table(safe),
        limits=(limits_sentence(safe), HOW_TO_LIMIT),
        limits_section=_limits_section(safe),
        power_sentences=(*power_sentences(safe), *map(warning_sentence, statistician_warnings(safe))),
        power_picture=power_picture(safe),
        power=_power_table(safe),
        sensitivity=_sensitivity_table(safe),
        spreads=_spread_table(safe),
        has_measures=safe.measures == "both",
        benches=tuple(_bench(bench, safe.kind, numbers) for bench in safe.benches),
        key=_key_table(safe, numbers),
        calendar=_calendar_table(safe),
        shopping=_shopping_table(safe),
        cautions=said_cautions("plan", safe.shopping.volume_l, safe.measures),
    )


@cache
def plan_style() -> str:
    """Style sheet of the page: that of the report, and the bench map's."""
    return page_style() + (TEMPLATES / "plan.css").read_text(encoding="utf-8")


def _facts(plan: Plan) -> tuple[str, ...]:
    return tuple(part for part in (plan.season, plan.kind) if part)


def _chance_heads(plan: Plan) -> tuple[str, str]:
    return f"chance of finding {plain(plan.margin_g)} g", f"found with {percent(plan.power_wanted)}, g"


def _power_table(plan: Plan) -> Table | None:
    body = (
        Row(
            effect_label(row.effect),
            (
                whole_percent(row.power),
                plain(row.detectable_g),
                plain(row.numerator_df),
                told(row.denominator_df, "d.f."),
                METHOD_WORDS[row.method],
            ),
        )
        for row in plan.effects
    )
    heads = columns("effect", *_chance_heads(plan), "numerator d.f.", "error d.f.")
    simulated = f" {count(plan.replicates, 'trial')} were simulated, and {plain(plan.failed)} could not be fitted."
    note = (
        f"F tests are at {percent(plan.level)}. With a main effect of {plain(plan.margin_g)} g, the first and the last "
        "level differ by it, and the others lie midway. The average efficiency of the layout, against complete blocks, "
        f"is {plain(plan.efficiency)}.{simulated if plan.replicates else ''}"
    )
    return make_table("effects", "What each effect's test would find", (*heads, text_column("how found")), body, note)


def _versus_table(plan: Plan) -> Table | None:
    """What the trial asked for brings and takes, beside what the one proposed does."""
    both = [(plan.designs[0], plan.value.asked)]
    heads = [text_column(""), Column("as asked for")]
    if plan.proposed:
        both.append((plan.designs[plan.proposed], plan.value.proposed))
        heads.append(Column("proposed"))

    def line(
        title: str, say: Callable[[DesignRow, Prospect], str | Sentence], *, is_known: bool = True
    ) -> Iterator[Row]:
        if is_known:
            yield Row(title, tuple(say(row, one) for row, one in both))

    def tied(say: Callable[[MeasureSystem], str]) -> Sentence:
        return _said(plan, lambda system: [say(system)])[0].each(tie)

    asked = plan.value.asked
    body = (
        *line("gain a head", lambda _, one: tied(lambda system: value_words(one.value_g, system))),
        *line(
            "gain a year",
            lambda _, one: tied(partial(mass_words, one.kg_a_year or 0.0)),
            is_known=asked.kg_a_year is not None,
        ),
        *line("worth a year", lambda _, one: plain(one.worth_a_year), is_known=asked.worth_a_year is not None),
        *line("buckets", lambda row, _: plain(row.buckets, 6)),
        *line("gardens", lambda row, _: plain(row.sites, 6)),
        *line("visits", lambda row, _: plain(row.visits, 6)),
        *line("cost of buckets", lambda row, _: plain(row.cost), is_known=any(row.cost for row in plan.designs)),
        *line("chance of a change", lambda _, one: tie(chance(one.change))),
        *line("chance it is settled", lambda _, one: tie(chance(one.settled))),
        *line("gain told within", lambda _, one: tied(lambda system: f"± {value_words(one.half_width_g, system)}")),
        *line(
            "dose told within",
            lambda _, one: tied(lambda system: f"± {dose_width(one, system)}"),
            is_known=asked.dose_half_width_tsp is not None,
        ),
    )
    note = (
        "Gains are those of the next handout, per transplanted head. A change is other advice than without the trial."
    )
    return make_table("versus", "What it brings and takes", tuple(heads), body, note, is_ordered=True)


def _limits_section(plan: Plan) -> tuple[str, ...]:
    """Lines of trial.toml that state the limits that hold now; of visits and money what the trial asked for takes."""
    limits = plan.limits
    lines = {
        "buckets_per_site": limits.buckets_per_site,
        "heads_per_bucket": limits.heads_per_bucket,
        "sites": limits.sites,
        "visits": limits.visits or plan.designs[0].visits,
        "budget": plain(limits.budget if limits.budget is not None else plan.designs[0].cost or SOME_BUDGET, 9),
    }
    return ("[limits]", *(f"{name} = {value}" for name, value in lines.items()))


def _design_table(plan: Plan) -> Table | None:
    """Designs that the limits allow, and the one asked for."""
    is_costed = any(row.cost for row in plan.designs)
    heads = columns(
        "design",
        "buckets",
        "visits",
        *(["cost"] if is_costed else []),
        in_unit("value, {} a head".format, "g", plan.measures),
        *_chance_heads(plan),
    )
    body = (
        Row(
            _design_name(plan, row),
            (
                plain(row.buckets, 6),
                plain(row.visits, 6),
                *([plain(row.cost)] if is_costed else []),
                amount(row.value_g, "g", plan.measures, finer=True),
                whole_percent(row.power),
                plain(row.detectable_g),
            ),
            _mark(plan, at),
        )
        for at, row in enumerate(plan.designs)
        if not row.beyond or at == 0
    )
    refused = sorted({refusal_sentence(row.refused) for row in plan.designs if row.refused})
    note = "The most valuable stands first. The last two columns are for a statistician. A dash says not calculated."
    return make_table("designs", "Designs within the limits", heads, body, " ".join((note, *refused)))


def _design_name(plan: Plan, row: DesignRow) -> Sentence:
    return _said(plan, lambda system: [design_words(row, plan, system)])[0]


def _mark(plan: Plan, at: int) -> str:
    if at == 0:
        return "as asked for, proposed" if plan.verdict.is_as_asked else "as asked for"
    return "proposed" if at == plan.proposed else ""


def _sensitivity_table(plan: Plan) -> Table | None:
    body = (Row(changed_words(row), (whole_percent(row.power), plain(row.detectable_g))) for row in plan.sensitivity)
    heads = columns("variance", *_chance_heads(plan))
    return make_table("sensitivity", "If things vary half or twice as much", heads, body)


def _spread_table(plan: Plan) -> Table | None:
    body = (Row(GROUPING_WORDS[spread.grouping], (plain(spread.sd_g),)) for spread in plan.spreads)
    heads = columns("what varies", "standard deviation, g")
    note = f"This rests on {source_words(plan.source)}. {EARLIER}"
    return make_table("spreads", "What the plan assumes", heads, body, note)


def _numbers(plan: Plan) -> dict[Treatment, str]:
    """Number every treatment, in an order that does not tell where it stands."""
    found = {place.treatment for bench in plan.benches for place in bench.places}
    ordered = sorted(found, key=lambda treatment: tuple((level is None, level or 0) for level in astuple(treatment)))
    return {treatment: str(number) for number, treatment in enumerate(ordered, 1)}


def _said(plan: Plan, say: Callable[[MeasureSystem], Sequence[str]]) -> tuple[Sentence, ...]:
    return in_every_measure(say, plan.nutrient_g_per_tsp, plan.measures)


def _label(plan: Plan, treatment: Treatment) -> Sentence:
    columns = tuple(FACTOR_COLUMNS.values())
    return _said(plan, lambda system: [treatment_label(treatment, columns, system)])[0]


def _bench(bench: PlannedBench, kind: str, numbers: Mapping[Treatment, str]) -> BenchPicture:
    several = bench.rows > 1
    word = "volunteer" if kind == "volunteer blocks" else "row" if several else "block"
    lines: dict[int, list[tuple[str, str]]] = {}
    for place in bench.places:
        line = place.row if several else place.block
        lines.setdefault(line, []).append((place.bucket, numbers[place.treatment]))
    return BenchPicture(bench.name, tuple(BenchLine(f"{word} {n}", tuple(places)) for n, places in lines.items()))


def _key_table(plan: Plan, numbers: Mapping[Treatment, str]) -> Table | None:
    body = (
        Row(number, (_label(plan, treatment),), "current practice" if treatment == plan.practice else "")
        for treatment, number in numbers.items()
    )
    return make_table("key", "Treatments on the map", (text_column("number"), text_column("treatment")), body)


def _calendar_table(plan: Plan) -> Table | None:
    body = (
        Row(
            date_words(event.on) or f"day {event.day} after sowing",
            (event_title(event), event_detail(event)),
        )
        for event in plan.calendar
    )
    heads = (text_column("when"), text_column("what"), text_column("how"))
    note = (
        "calendar.ics beside this page brings these days into a calendar program."
        if any(event.on for event in plan.calendar)
        else "Give schedule.sow_on in trial.toml to have days of the calendar."
    )
    return make_table("calendar", "When things are due", heads, body, note, is_ordered=True)


def _item_amount(item: ShoppingItem, system: MeasureSystem) -> tuple[str, str]:
    return item_amount(item, system.measures)


def _shopping_table(plan: Plan) -> Table | None:
    needed = plan.shopping
    body = (
        Row(
            each_way(partial(item_name, item, needed), plan.measures),
            (
                *in_every_measure(partial(_item_amount, item), None, plan.measures),
                told(item.cost, "money"),
                each_way(partial(item_note, item, needed), plan.measures),
            ),
        )
        for item in needed.items
    )
    heads = (
        *columns("item", "quantity"),
        text_column("unit"),
        *columns("", "cost")[1:],
        text_column("how calculated"),
    )
    known = (
        f"What has a price in products.csv costs {told(needed.cost, 'money')} in its currency. The rest has none there."
    )
    note = known if needed.cost else "products.csv has no prices."
    return make_table("shopping", "What is needed", heads, body, note)
