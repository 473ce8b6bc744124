"""Pictures of pooled evidence: how an estimate moved season by season, without each trial, and class by class."""

from __future__ import annotations

from collections.abc import Sequence

from trialkit.pages.numerals import difference_interval, is_number, percent, plain, signed
from trialkit.pages.table import Row, columns, make_table
from trialkit.report.figures.interval_rows import IntervalRow, draw_rows
from trialkit.report.figures.picture import Picture
from trialkit.report.figures.sheet import draw_twice
from trialkit.report.reading import Json, mapping, rows
from trialkit.words.phrases import count

QUANTITY, UNIT = "gain of a planted head over the current practice", "g"
NOTHING = (0.0, "no gain")
CLASS_TITLES = {"water": "by the alkalinity of the water", "season": "by season", "kind": "by kind of garden"}


def evidence_pictures(document: Json, confidence: float) -> tuple[Picture, ...]:
    """Draw what the pooled trials say of the alternative; nothing where no trial set it beside the current practice."""
    together = mapping(document.get("together"))
    made = (
        _growing(together, confidence),
        _without(together, confidence),
        _classes(mapping(document.get("classes")), confidence),
    )
    return tuple(picture for picture in made if picture is not None)


def _growing(together: Json, confidence: float) -> Picture | None:
    """Each trial's own gain, and the estimate as it stood after it."""
    steps, gains = rows(together, "growing"), rows(together, "gains")
    if not steps:
        return None
    taken = [gains[step["trials"] - 1] for step in steps]
    own = [IntervalRow("Each trial by itself", _named(one), one["gain"], *_two_errors(one), ()) for one in taken]
    grown = [
        _row("All trials so far, after each season", _named({"name": one["added"], "season": one["season"]}), one)
        for one in steps
    ]
    last, first = steps[-1], steps[0]
    finding = (
        f"After {count(last['trials'], 'trial')} the gain stands at {plain(last['gain'])} g a planted head "
        f"({difference_interval(last['lower'], last['upper'])})."
    )
    if len(steps) > 1:
        finding += f" After the first it stood at {plain(first['gain'])} g."
    body = (
        Row(
            _named({"name": step["added"], "season": step["season"]}),
            (
                signed(one["gain"]),
                plain(one["se"]),
                str(one["gardens"]),
                signed(step["gain"]),
                difference_interval(step["lower"], step["upper"]),
            ),
        )
        for step, one in zip(steps, taken, strict=True)
    )
    heads = columns("trial", "its own gain, g", "standard error, g", "gardens", "all so far, g", "interval, g")
    some = (
        f" Shown are {len(steps)} of {len(gains)} trials, from the first to the last."
        if len(taken) < len(gains)
        else ""
    )
    table = make_table("growing-data", "The gain trial by trial, and as it added up", heads, body)
    return _picture(
        "growing",
        finding,
        f"Each mark is a gain, its line a {percent(confidence)} interval (of single trials two standard errors to each "
        f"side). The lower part tells what was known after each season.{some}",
        [*own, *grown],
        (table,) if table else (),
    )


def _without(together: Json, confidence: float) -> Picture | None:
    """The estimate with each trial left out."""
    steps = rows(together, "without")
    if not steps:
        return None
    found = [_row("", f"without {_named({'name': one['added'], 'season': one['season']})}", one) for one in steps]
    low, high = min(one["gain"] for one in steps), max(one["gain"] for one in steps)
    turns = [one for one in steps if one["lower"] <= 0 <= one["upper"]]
    finding = f"With any one trial left out the gain lies between {plain(low)} and {plain(high)} g."
    finding += (
        " Without some of them, no gain would be shown: the evidence hangs on these."
        if turns
        else " No single trial carries the answer."
    )
    body = (Row(one["added"], (signed(one["gain"]), difference_interval(one["lower"], one["upper"]))) for one in steps)
    table = make_table("without-data", "Without each trial", columns("without", "gain, g", "interval, g"), body)
    gains = rows(together, "gains")
    some = f" Of {len(gains)} trials those that move it the most are shown." if len(steps) < len(gains) else ""
    return _picture(
        "without",
        finding,
        f"Each row leaves one trial out; lines are {percent(confidence)} intervals.{some}",
        found,
        (table,) if table else (),
    )


def _classes(classes: Json, confidence: float) -> Picture | None:
    """Gains by class, shrunk; classes without evidence say so."""
    found, body = [], []
    for key, title in CLASS_TITLES.items():
        for one in rows(classes, key):
            seen = count(one["gardens"], "garden") if one["gardens"] else "borrowed"
            found.append(_row(f"The gain {title}", f"{one['name']} ({seen})", one))
            own = signed(one["own"]) if is_number(one.get("own")) else "none"
            limits = difference_interval(one["lower"], one["upper"])
            cells = (str(one["gardens"]), own, signed(one["gain"]), limits, percent(one["borrowed"]))
            body.append(Row(f"{title.removeprefix('by ')}: {one['name']}", cells))
    if not found:
        return None
    blind = [one["name"] for key in CLASS_TITLES for one in rows(classes, key) if not one["gardens"]]
    finding = (
        f"Nothing was tried yet in: {', '.join(blind)}. What is said of these is borrowed from the others."
        if blind
        else "Every class of garden has some evidence of its own; the little that each has is steadied by the others."
    )
    heads = columns("class", "gardens", "its own gain, g", "shrunk, g", "interval, g", "borrowed")
    note = "Shrunk: each class's gain drawn towards the others', the more the less is known of it."
    table = make_table("classes-data", "Gains by class", heads, body, note)
    return _picture(
        "classes",
        finding,
        f"Each mark is what a class is told, its line a {percent(confidence)} interval: from the class's own trials "
        "and, where these say little or nothing (borrowed), the other classes.",
        found,
        (table,) if table else (),
    )


def _row(group: str, label: str, one: Json) -> IntervalRow:
    return IntervalRow(group, label, one["gain"], one["lower"], one["upper"], ())


def _two_errors(one: Json) -> tuple[float, float]:
    return one["gain"] - 2 * one["se"], one["gain"] + 2 * one["se"]


def _named(one: Json) -> str:
    return f"{one['name']}, {one['season']}" if one.get("season") else str(one["name"])


def _picture(name: str, finding: str, reading: str, made: Sequence[IntervalRow], tables: tuple[object, ...]) -> Picture:
    wide, narrow = draw_twice(name, lambda is_narrow: draw_rows(made, QUANTITY, UNIT, NOTHING, is_narrow))
    each = "; ".join(f"{row.label} {plain(row.mean)} ({difference_interval(row.lower, row.upper)})" for row in made)
    return Picture(name, finding, reading, f"Chart of {QUANTITY}. {finding} {each}.", wide, narrow, tables)  # type: ignore[arg-type]
