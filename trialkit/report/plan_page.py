"""`plan_html`: a plan as one page that needs nothing else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from trialkit.pages.cautions import ABOUT_THE_PAGE, CAUTIONS
from trialkit.pages.numerals import ABSENT, fixed, is_number, percent, plain
from trialkit.pages.safe_text import safe_results
from trialkit.pages.shell import content_security_policy, environment, page_script, page_style
from trialkit.pages.table import Row, Table, columns, make_table, text_column
from trialkit.report.figures.power import power_picture
from trialkit.report.page import TEMPLATES
from trialkit.report.reading import Json, mapping, rows, texts
from trialkit.words.phrases import count, date_words
from trialkit.words.treatments import treatment_label

FACTOR_ORDER = ("cultivar", "dose_tsp", "acidifier")
METHOD_WORDS = {
    "exact": "exact",
    "approximate": "approximate: the layout is not orthogonal",
    "simulated": "simulated trials",
}

EARLIER = (
    "As soon as one trial of your own was analysed, plan with what it found: trialkit plan DIR --earlier ITS-FOLDER."
)


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


def plan_html(plan: Mapping[str, Any]) -> str:
    """Write a plan as one self-contained HTML page.

    Parameters
    ----------
    plan : Mapping
        Content of ``plan.json``. Every text in it may come from strangers.
    """
    safe = mapping(safe_results(plan))
    style, script = plan_style(), page_script()
    picture = power_picture(safe)
    keys = _treatments(safe)
    return (
        environment(TEMPLATES)
        .get_template("plan.html.jinja")
        .render(
            plan=safe,
            facts=_facts(safe),
            sentences=_sentences(safe),
            advice=(*texts(safe, "advice"), *texts(safe, "larger")),
            warnings=texts(safe, "warnings"),
            pictures=(picture,) if picture else (),
            power=_power_table(safe),
            sizes=_size_table(safe),
            sensitivity=_sensitivity_table(safe),
            spreads=_spread_table(safe),
            benches=_benches(safe, keys),
            key=_key_table(keys, mapping(safe.get("practice"))),
            calendar=_calendar_table(safe),
            shopping=_shopping_table(safe),
            cautions=tuple(caution for caution in CAUTIONS if caution is not ABOUT_THE_PAGE),
            style=style,
            script=script,
            policy=content_security_policy(style, script),
        )
    )


@cache
def plan_style() -> str:
    """Style sheet of the page: that of the report, and the bench map's."""
    return page_style() + (TEMPLATES / "plan.css").read_text(encoding="utf-8")


def _facts(plan: Json) -> tuple[str, ...]:
    parts = [str(plan.get("season") or ""), str(plan.get("kind") or "")]
    parts += [
        count(plan.get(key), word) for key, word in (("sites", "garden"), ("buckets", "bucket"), ("heads", "head"))
    ]
    return tuple(part for part in parts if part)


def _sentences(plan: Json) -> tuple[str, ...]:
    """What the trial can tell, to be read aloud."""
    difference = mapping(plan.get("difference"))
    margin, wanted = plain(plan.get("margin_g")), percent(plan.get("power_wanted"))
    return (
        f"This trial would find a difference of {margin} g a head from the current practice with a chance of "
        f"{percent(_rounded(difference.get('power')))}, and one of {plain(difference.get('detectable_g'))} g with a "
        f"chance of {wanted}.",
        f"Its interval for a difference would reach about {plain(difference.get('half_width_g'))} g either way, "
        "allowing for all comparisons.",
        *_verdict(plan, difference),
        *_dose(mapping(plan.get("dose"))),
    )


def _dose(dose: Json) -> tuple[str, ...]:
    """Say how closely the recommended dose would be known, and what that rests on."""
    if not dose:
        return ()
    told = "" if dose.get("curve_told") else " Three doses cannot tell a curve from a plateau: a fourth would."
    width, recommended = dose.get("half_width_tsp"), dose.get("recommended_tsp")
    vague = is_number(width) and is_number(recommended) and width > recommended
    known = "would hardly be known, only to about" if vague else "would be known to about"
    return (
        f"The recommended dose {known} {plain(width, 2)} teaspoons either way, if "
        f"{percent(dose.get('share_of_gain'))} of what nutrient can add is reached at "
        f"{plain(recommended)} teaspoons and nutrient adds {plain(dose.get('gain_g'))} g a head in all "
        f"(with half of that, the dose is known half as closely).{told}",
    )


def _verdict(plan: Json, difference: Json) -> tuple[str, ...]:
    """Say plainly where the trial is too small for what it is asked."""
    power, wanted = difference.get("power"), plan.get("power_wanted")
    if not is_number(power) or not is_number(wanted) or power >= wanted:
        return ()
    return (
        f"That is less than the {percent(wanted)} that is usual: it would more likely miss such a difference than it "
        "should. A larger trial (section 2), fewer treatments, or a larger margin would help.",
    )


def _rounded(share: Any) -> Any:
    return round(share, 2) if is_number(share) else share


def _power_table(plan: Json) -> Table | None:
    body = (
        Row(
            str(row.get("effect")).replace("_tsp", "").replace(":", " by "),
            (
                percent(_rounded(row.get("power"))),
                plain(row.get("detectable_g")),
                plain(row.get("numerator_df")),
                fixed(row.get("denominator_df")),
                METHOD_WORDS.get(str(row.get("method")), ABSENT),
            ),
        )
        for row in rows(plan, "effects")
    )
    heads = (
        *columns(
            "effect",
            f"chance of finding {plain(plan.get('margin_g'))} g",
            f"found with {percent(plan.get('power_wanted'))}, g",
            "numerator d.f.",
            "error d.f.",
        ),
        text_column("how found"),
    )
    simulated = f" {count(plan.get('replicates'), 'trial')} simulated, {plain(plan.get('failed'))} could not be fitted."
    note = (
        f"F tests at {percent(plan.get('level'))}. A main effect of {plain(plan.get('margin_g'))} g: the first and the "
        "last level differ by it and the others lie midway. Average efficiency of the layout, against complete blocks: "
        f"{plain(plan.get('efficiency'))}.{simulated if plan.get('replicates') else ''}"
    )
    return make_table("effects", "What each effect's test would find", heads, body, note)


def _size_table(plan: Json) -> Table | None:
    priced = any(row.get("cost") for row in rows(plan, "sizes"))
    dosed = any(is_number(row.get("dose_half_width_tsp")) for row in rows(plan, "sizes"))
    heads = columns(
        "gardens × blocks × heads a bucket",
        "buckets",
        f"chance of finding {plain(plan.get('margin_g'))} g",
        f"found with {percent(plan.get('power_wanted'))}, g",
        "interval either way, g",
        *(["dose either way, tsp"] if dosed else []),
        *(["cost"] if priced else []),
    )
    body = (
        Row(
            f"{plain(row.get('sites'))} × {plain(row.get('blocks'))} × {plain(row.get('heads'))}",
            (
                plain(row.get("buckets"), 6),
                percent(_rounded(row.get("power"))),
                plain(row.get("detectable_g")),
                plain(row.get("half_width_g")),
                *([plain(row.get("dose_half_width_tsp"), 2)] if dosed else []),
                *([fixed(row.get("cost"), 2)] if priced else []),
            ),
            "as asked" if row.get("is_asked") else "",
        )
        for row in rows(plan, "sizes")
    )
    chance = max((row.get("monte_carlo_se") or 0.0 for row in rows(plan, "sizes")), default=0.0)
    simulated = [f"Simulated: each chance may be off by {plain(200 * chance, 1)} points either way."] if chance else []
    refused = sorted({str(row["refused"]) for row in rows(plan, "sizes") if row.get("refused")})
    return make_table("sizes", "Sizes around the one asked for", heads, body, " ".join([*simulated, *refused]))


def _sensitivity_table(plan: Json) -> Table | None:
    body = (
        Row(
            f"{row.get('changed')}, {'half' if (row.get('factor') or 1) < 1 else 'double'}",
            (percent(_rounded(row.get("power"))), plain(row.get("detectable_g"))),
        )
        for row in rows(plan, "sensitivity")
    )
    heads = columns(
        "variance",
        f"chance of finding {plain(plan.get('margin_g'))} g",
        f"found with {percent(plan.get('power_wanted'))}, g",
    )
    return make_table("sensitivity", "If things vary half or twice as much", heads, body)


def _spread_table(plan: Json) -> Table | None:
    body = (Row(str(row.get("label")), (plain(row.get("sd_g")),)) for row in rows(plan, "spreads"))
    heads = columns("what varies", "standard deviation, g")
    return make_table("spreads", "What the plan assumes", heads, body, f"Source: {plan.get('source')}. {EARLIER}")


def _treatments(plan: Json) -> tuple[Json, ...]:
    """Every treatment once, in an order that does not tell where it stands."""
    found = {
        tuple(str(treatment.get(column)) for column in FACTOR_ORDER): treatment
        for bench in rows(plan, "benches")
        for place in rows(bench, "places")
        for treatment in [mapping(place.get("treatment"))]
    }
    return tuple(found[key] for key in sorted(found, key=_in_order))


def _in_order(key: tuple[str, ...]) -> tuple[tuple[float, str], ...]:
    return tuple((float(part), "") if part.replace(".", "", 1).isdigit() else (0.0, part) for part in key)


def _benches(plan: Json, treatments: Sequence[Json]) -> tuple[BenchPicture, ...]:
    number = {treatment_label(t, FACTOR_ORDER): str(i) for i, t in enumerate(treatments, 1)}
    pictures = []
    for bench in rows(plan, "benches"):
        several = (bench.get("rows") or 1) > 1
        lines: dict[Any, list[tuple[str, str]]] = {}
        for place in rows(bench, "places"):
            label = treatment_label(mapping(place.get("treatment")), FACTOR_ORDER)
            key = place.get("row") if several else place.get("block")
            lines.setdefault(key, []).append((str(place.get("bucket")), number[label]))
        word = "volunteer" if plan.get("kind") == "volunteer blocks" else "row" if several else "block"
        pictures.append(
            BenchPicture(
                str(bench.get("name")),
                tuple(BenchLine(f"{word} {plain(key)}", tuple(places)) for key, places in lines.items()),
            )
        )
    return tuple(pictures)


def _key_table(treatments: Sequence[Json], practice: Json) -> Table | None:
    body = (
        Row(str(i), (treatment_label(t, FACTOR_ORDER),), "current practice" if t == practice else "")
        for i, t in enumerate(treatments, 1)
    )
    return make_table("key", "Treatments on the map", (text_column("number"), text_column("treatment")), body)


def _calendar_table(plan: Json) -> Table | None:
    dated = any(row.get("on") for row in rows(plan, "calendar"))
    body = (
        Row(
            date_words(row.get("on")) or f"day {plain(row.get('day'))} after sowing",
            (str(row.get("title")), str(row.get("detail"))),
        )
        for row in rows(plan, "calendar")
    )
    heads = (text_column("when"), text_column("what"), text_column("how"))
    note = (
        "calendar.ics beside this page brings these days into a calendar program."
        if dated
        else "Give schedule.sow_on in trial.toml to have days of the calendar."
    )
    return make_table("calendar", "When things are due", heads, body, note, is_ordered=True)


def _shopping_table(plan: Json) -> Table | None:
    body = (
        Row(
            str(row.get("name")),
            (
                plain(row.get("quantity"), 6),
                str(row.get("unit") or ""),
                fixed(row.get("cost"), 2) if is_number(row.get("cost")) else ABSENT,
                str(row.get("note")),
            ),
        )
        for row in rows(plan, "shopping")
    )
    heads = (
        *columns("item", "quantity"),
        text_column("unit"),
        *columns("", "cost")[1:],
        text_column("how reckoned"),
    )
    known = f"Known prices come to {fixed(plan.get('cost'), 2)} in products.csv's currency; the rest has none there."
    note = known if plan.get("cost") else "products.csv has no prices."
    return make_table("shopping", "What is needed", heads, body, note)
