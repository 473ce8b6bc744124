"""Pictures of pooled evidence: how an estimate moved season by season, without each trial, and class by class."""

from __future__ import annotations

from collections.abc import Sequence

from trialkit.documents.pooled import ClassGain, PartialGain, TrialGains
from trialkit.documents.recommended import GainsByClass, Recommended
from trialkit.pages.numerals import difference_interval, percent, plain, signed
from trialkit.pages.table import Row, Table, columns, make_table
from trialkit.report.figures.interval_rows import IntervalRow, draw_rows
from trialkit.report.figures.picture import Picture, drawn_picture
from trialkit.words.default_words import trial_name
from trialkit.words.phrases import count

QUANTITY, UNIT = "gain per transplanted head over the current practice", "g"
NOTHING = (0.0, "no gain")


def evidence_pictures(document: Recommended, confidence: float) -> tuple[Picture, ...]:
    """Draw what the pooled trials say of the alternative; nothing where no trial set it beside the current practice."""
    made = []
    if document.trial_gains is not None:
        made.append(_cumulative(document.trial_gains, confidence))
        if document.trial_gains.leave_one_out:
            made.append(_leave_one_out(document.trial_gains, confidence))
    if document.classes is not None:
        picture = _classes(document.classes, confidence)
        made += [picture] if picture else []
    return tuple(made)


def _cumulative(found: TrialGains, confidence: float) -> Picture:
    """Each trial's own gain, and the estimate as it stood after it."""
    steps, gains = found.cumulative, found.gains
    taken = [gains[step.trials - 1] for step in steps]
    own = [
        IntervalRow(
            "Each trial by itself",
            trial_name(one.name, one.season),
            one.gain,
            one.gain - 2 * one.se,
            one.gain + 2 * one.se,
            (),
        )
        for one in taken
    ]
    grown = [_row("All trials so far, after each season", trial_name(one.trial, one.season), one) for one in steps]
    last, first = steps[-1], steps[0]
    finding = (
        f"After {count(last.trials, 'trial')} the gain stands at {plain(last.gain)} g per transplanted head "
        f"({difference_interval(last.lower, last.upper)})."
    )
    if len(steps) > 1:
        finding += f" After the first it stood at {plain(first.gain)} g."
    body = (
        Row(
            trial_name(step.trial, step.season),
            (
                signed(one.gain),
                plain(one.se),
                str(one.gardens),
                signed(step.gain),
                difference_interval(step.lower, step.upper),
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
    return _picture(
        "growing",
        finding,
        f"Each mark is a gain, its line a {percent(confidence)} interval (of single trials two standard errors to each "
        f"side). The lower part tells what was known after each season.{some}",
        [*own, *grown],
        make_table("growing-data", "The gain trial by trial, and as it added up", heads, body),
    )


def _leave_one_out(found: TrialGains, confidence: float) -> Picture:
    """The estimate with each trial left out."""
    steps = found.leave_one_out
    rows = [_row("", f"without {trial_name(one.trial, one.season)}", one) for one in steps]
    low, high = min(one.gain for one in steps), max(one.gain for one in steps)
    finding = f"With any one trial left out the gain lies between {plain(low)} and {plain(high)} g."
    finding += (
        " Without some of them, no gain would be shown: the evidence hangs on these."
        if any(one.lower <= 0 <= one.upper for one in steps)
        else " No single trial carries the answer."
    )
    body = (Row(one.trial, (signed(one.gain), difference_interval(one.lower, one.upper))) for one in steps)
    of_all = f" Of {len(found.gains)} trials those that move it the most are shown."
    return _picture(
        "without",
        finding,
        f"Each row leaves one trial out; lines are {percent(confidence)} intervals."
        f"{of_all if len(steps) < len(found.gains) else ''}",
        rows,
        make_table("without-data", "Without each trial", columns("without", "gain, g", "interval, g"), body),
    )


def _classes(classes: GainsByClass, confidence: float) -> Picture | None:
    """Gains by class, shrunk; classes without evidence say so."""
    by_title = {
        "the alkalinity of the water": classes.water,
        "season": classes.season,
        "kind of garden": classes.kind,
    }
    titled = [(title, one) for title, some in by_title.items() for one in some]
    if not titled:
        return None
    blind = [one.name for _, one in titled if not one.gardens]
    finding = (
        f"Nothing was tried yet in: {', '.join(blind)}. What is said of these is borrowed from the others."
        if blind
        else "Every class of garden has some evidence of its own; the little that each has is steadied by the others."
    )
    body = (
        Row(
            f"{title}: {one.name}",
            (
                str(one.gardens),
                "none" if one.own is None else signed(one.own),
                signed(one.gain),
                difference_interval(one.lower, one.upper),
                percent(one.borrowed),
            ),
        )
        for title, one in titled
    )
    heads = columns("class", "gardens", "its own gain, g", "shrunk, g", "interval, g", "borrowed")
    note = "Shrunk: each class's gain drawn towards the others', the more the less is known of it."
    return _picture(
        "classes",
        finding,
        f"Each mark is what a class is told, its line a {percent(confidence)} interval: from the class's own trials "
        "and, where these say little or nothing (borrowed), the other classes.",
        [
            _row(
                f"The gain by {title}",
                f"{one.name} ({count(one.gardens, 'garden') if one.gardens else 'borrowed'})",
                one,
            )
            for title, one in titled
        ],
        make_table("classes-data", "Gains by class", heads, body, note),
    )


def _row(group: str, label: str, one: PartialGain | ClassGain) -> IntervalRow:
    return IntervalRow(group, label, one.gain, one.lower, one.upper, ())


def _picture(name: str, finding: str, reading: str, made: Sequence[IntervalRow], table: Table | None) -> Picture:
    each = "; ".join(f"{row.label} {plain(row.mean)} ({difference_interval(row.lower, row.upper)})" for row in made)
    alternative = f"Chart of {QUANTITY}. {finding} {each}."
    return drawn_picture(
        name,
        finding,
        reading,
        alternative,
        lambda is_narrow: draw_rows(made, QUANTITY, UNIT, NOTHING, is_narrow),
        (table,),
    )
