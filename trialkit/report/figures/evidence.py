"""Pictures of the evidence of all trials: what each found, what they say together, and garden by garden."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from functools import partial

from trialkit.documents.decision import Gain
from trialkit.documents.recommended import EvidenceTrial, GardenGain, Recommended
from trialkit.domain.units import Measures
from trialkit.pages.head_weights import amount, as_told, gain_and_interval, gain_cells, in_unit, unit_told
from trialkit.pages.numerals import ABSENT, percent, signed
from trialkit.pages.table import Row, Table, columns, make_table
from trialkit.report.figures.interval_rows import IntervalRow, draw_rows
from trialkit.report.figures.picture import Picture, drawn_picture
from trialkit.words import default_words as words
from trialkit.words.measures import Sentence, each_way, joined
from trialkit.words.phrases import count, listed

QUANTITY, UNIT = "gain a head over the current practice", "g"
NOTHING = (0.0, "no gain")
STANDARD_ERRORS = 2.0
MOST_TRIALS = 20
LEAST_DIFFERENCE_G = 1.0
"""Less is not told of a head (common practice, no source)."""


def evidence_pictures(document: Recommended) -> tuple[Picture, ...]:
    """Draw what the trials say of the alternative beside the current practice."""
    confidence = percent(document.decision.thresholds.confidence)
    pictures = []
    if any(one.gain is not None for one in document.evidence):
        pictures.append(_trial_by_trial(document, confidence))
    if len(_telling(document.by_garden)) > 1:
        pictures.append(_by_garden(document, confidence))
    return tuple(pictures)


def _trial_by_trial(document: Recommended, confidence: str) -> Picture:
    """Each trial's gain as recorded, and the one gain of all."""
    decision = document.decision
    gain = decision.shown.gain
    assert gain is not None  # only the current practice has none
    both = [one for one in document.evidence if one.gain is not None]
    shown = both[-MOST_TRIALS:]
    rows = [
        *(_recorded(one) for one in shown),
        _row("All trials together", count(decision.evidence.trials, "trial"), gain, changes=decision.verdict.changes),
    ]
    some = f" Shown are the newest {len(shown)} of {len(both)} trials that had both." if len(shown) < len(both) else ""
    measures = document.measures
    body = (Row(words.trial_name(one.trial, one.season), recorded_cells(one, measures)) for one in document.evidence)
    reading = (
        " Hollow marks are gains as recorded, garden by garden. Their "
        "lines are two standard errors to each side, which is where the true gain of a trial most likely lies. The "
        f"filled mark is the expected gain of the answer, with its {confidence} interval. It comes from all buckets of "
        "all trials, and is held down by as much as luck may have raised it."
    )
    told = ("gain as recorded", "standard error")
    heads = columns("trial", *(in_unit(f"{one}, {{}}".format, "g", measures) for one in told))
    return _picture(
        "trial-by-trial",
        each_way(partial(words.trial_by_trial, document), measures),
        joined(each_way(partial(words.set_beside, document), measures), reading + some),
        rows,
        measures,
        make_table("trial-by-trial-data", "The gain trial by trial, as recorded", heads, body),
    )


def recorded_cells(one: EvidenceTrial, measures: Measures) -> tuple[str | Sentence, str | Sentence]:
    """Cells of what a trial found by itself and of its standard error, or why it shows no gain of its own."""
    if one.gain is None:
        return words.recorded_gain(one), ABSENT
    gain = one.gain
    found = each_way(lambda way: signed(*as_told(gain, "g", way)), measures)
    return found, amount(one.gain_se or None, "g", measures, finer=True)


def _recorded(one: EvidenceTrial) -> IntervalRow:
    gain, half = one.gain or 0.0, STANDARD_ERRORS * (one.gain_se or 0.0)
    name = words.trial_name(one.trial, one.season)
    return IntervalRow("Each trial, as recorded", name, gain, gain - half, gain + half, (), "recorded")


def _by_garden(document: Recommended, confidence: str) -> Picture:
    """The gain by what gardens are like, and in those that came back."""
    measures = document.measures
    body = (
        Row(
            f"{words.GARDEN_WORDS[one.of]}: {one.name}",
            (
                str(one.gardens),
                "yes" if one.tried else "not yet",
                *gain_cells(one.gain, measures),
            ),
        )
        for one in document.by_garden
    )
    drawn = _telling(document.by_garden)
    left_out = [words.GARDEN_WORDS[of].lower() for of in dict.fromkeys(one.of for one in document.by_garden)
                if of not in {one.of for one in drawn}]  # fmt: skip
    alike = f" Not drawn, as the gain hardly differs: {listed(left_out)}." if left_out else ""
    told = ("expected gain", f"{confidence} interval")
    weights = (in_unit(f"{one}, {{}}".format, "g", measures) for one in told)
    heads = columns("gardens that are alike", "gardens", "tried there", *weights)
    reading = (
        f" Each mark is the expected gain in such gardens, on average over seasons, and each line its {confidence} "
        "interval. Alkalinity may change what an acid does, and sun what a cultivar or a dose does. The kind of garden "
        f"may change all three. A garden that came back also has its own records to go by.{alike}"
    )
    return _picture(
        "by-garden",
        each_way(partial(words.gains_by_garden, document), measures),
        joined(each_way(partial(words.set_beside, document), measures), reading),
        [_row(words.GARDEN_WORDS[one.of], _label(one), one.gain) for one in drawn],
        measures,
        make_table("by-garden-data", "The gain by what gardens are like", heads, body, is_ordered=True),
    )


def _telling(gains: Sequence[GardenGain]) -> list[GardenGain]:
    """Gains of those ways to part gardens between which something differs: by a gram, or one where it was not tried."""
    by_way: dict[str, list[GardenGain]] = defaultdict(list)
    for one in gains:
        by_way[one.of].append(one)
    return [one for those in by_way.values() if _differ(those) for one in those]


def _differ(those: Sequence[GardenGain]) -> bool:
    estimates = [one.gain.estimate for one in those]
    return max(estimates) - min(estimates) >= LEAST_DIFFERENCE_G or not all(one.tried for one in those)


def _label(one: GardenGain) -> str:
    if one.of == "garden":
        return one.name
    seen = count(one.gardens, "garden") if one.gardens else "no garden"
    return f"{one.name} ({seen if one.tried else 'not yet tried'})"


def _row(group: str, label: str, gain: Gain, *, changes: bool | None = None) -> IntervalRow:
    part = "other" if changes is None else "recommended" if changes else "rival"
    return IntervalRow(group, label, gain.estimate, gain.lower, gain.upper, (), part)  # type: ignore[arg-type]


def _each(made: Sequence[IntervalRow], measures: Measures) -> Iterator[str]:
    for row in made:
        gain, limits = gain_and_interval(Gain(row.mean, row.lower, row.upper), measures)
        yield f"{row.label}: {gain} {unit_told(UNIT, measures)} ({limits})."


def _picture(
    name: str,
    finding: Sentence,
    reading: str | Sentence,
    made: Sequence[IntervalRow],
    measures: Measures,
    table: Table | None,
) -> Picture:
    each = each_way(lambda way: " ".join(_each(made, way)), measures)
    return drawn_picture(
        name,
        finding,
        reading,
        joined(f"Chart of {QUANTITY}. ", finding, " ", each),
        lambda is_narrow: draw_rows(made, QUANTITY, UNIT, measures, NOTHING, is_narrow),
        (table,),
    )
