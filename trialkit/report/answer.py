"""The answer: what to do, what it brings, how sure and what to mind, on one card for the shed door."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from trialkit.documents.decision import Candidate, Decision, Gain, Verdict
from trialkit.documents.results import AcidUsed, Design, FeedPart, FixedFactor, VariedFactor
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.domain.units import CUP_ML, TEASPOON_ML, Measures
from trialkit.pages.head_weights import as_told, gain_and_interval
from trialkit.pages.numerals import ABSENT, difference_interval, percent, plain, signed, told, whole_percent
from trialkit.pages.spoons import MOST_SPOONS_DRAWN
from trialkit.pages.table import Row, Table, columns, make_table, text_column
from trialkit.report.reading import Reading
from trialkit.words.decision_words import (
    VERDICT_WORDS,
    chances,
    gain_in_short,
    given_up,
    minds,
    no_decision_words,
    settled_words,
    what_it_rests_on,
    what_to_do,
)
from trialkit.words.factor_words import FACTOR_LABELS
from trialkit.words.feed_words import part_amount
from trialkit.words.measures import (
    MeasureSystem,
    Sentence,
    acid_range,
    head_unit,
    head_weight,
    in_measures,
    joined,
    spoons,
    teaspoons,
    volume_words,
)
from trialkit.words.phrases import chance, chance_word, count
from trialkit.words.treatment_names import acid_words

TONES = {
    Verdict.CHANGE: "change",
    Verdict.CHANGE_AND_TEST: "retest",
    Verdict.KEEP: "keep",
    Verdict.KEEP_AND_TEST: "retest",
}
FACTOR_TITLES = {"cultivar": "Grow", "dose_tsp": "Feed", "acidifier": "Acidify with"}


Said = Callable[[Callable[[MeasureSystem], Sequence[str]]], tuple[Sentence, ...]]
"""Says sentences in each measure system."""


@dataclass(frozen=True)
class CardLine:
    """One line of a card: what to do, in large letters, and what it was before, if it changes."""

    title: str
    text: Sentence | str
    note: Sentence | str = ""
    spoons: int = 0
    before: Sentence | None = None


@dataclass(frozen=True)
class Sureness:
    """A chance as a picture of a hundred, with the words around it."""

    hundredths: int
    headline: str
    word: str
    meaning: Sentence


@dataclass(frozen=True)
class Gained:
    """What a change brings, in large letters and in small ones."""

    title: str
    headline: Sentence
    detail: Sentence


@dataclass(frozen=True)
class AnswerCard:
    """What to grow, what it brings, how sure, and what to mind; without a decision, why there is none."""

    verdict: str
    tone: str
    lines: tuple[CardLine, ...]
    gained: Gained | None
    sureness: tuple[Sureness, ...]
    minds: tuple[Sentence | str, ...]
    foot: Sentence | str
    reasons: tuple[Sentence | str, ...] = ()
    sure_title: str = "How sure"


@dataclass(frozen=True)
class Answer:
    """The answer, ready for the template: a card, and the same in sentences."""

    card: AnswerCard
    sentences: tuple[Sentence, ...]
    given_up: Sentence | None
    rests_on: tuple[Sentence, ...]
    versus: Table | None
    acid: Table | None
    has_switch: bool
    """Whether its reader chooses the measures."""


def answer(reading: Reading) -> Answer:
    """Put the decision into words and pictures; where there is none, say why."""
    decision, design = reading.decision, reading.design
    return Answer(
        card=AnswerCard(
            verdict=verdict_words(decision),
            tone=TONES[decision.verdict] if decision else "none",
            lines=tuple(_card(reading)),
            gained=gained(decision, reading.said) if decision else None,
            sureness=sureness(decision, reading.said) if decision else (),
            minds=reading.said(partial(minds, reading.results)),
            foot=(
                foot(reading.said, design.volume_l, design.heads_per_bucket, decision.chosen.yield_g)
                if decision
                else ""
            ),
            reasons=() if decision else _reasons(reading),
        ),
        sentences=reading.said(lambda system: [what_to_do(decision, system)]) if decision else (),
        given_up=(
            reading.said(lambda system: [f"{settled_words(decision)} {given_up(decision, system)}"])[0]
            if decision
            else None
        ),
        rests_on=reading.said(lambda system: [what_it_rests_on(decision, system)]) if decision else (),
        versus=versus_table(reading),
        acid=acid_table(reading),
        has_switch=design.measures == "both",
    )


def _reasons(reading: Reading) -> tuple[Sentence | str, ...]:
    """Why there is no recommendation."""
    why = reading.said(lambda system: [no_decision_words(reading.results, system)])
    return ("This trial gives no recommendation.", *why)


def verdict_words(decision: Decision | None) -> str:
    """Say the verdict as a heading."""
    verdict = VERDICT_WORDS[decision.verdict] if decision else "no recommendation"
    return verdict[:1].upper() + verdict[1:]


def gained(decision: Decision, said: Said) -> Gained:
    """Say what a change brings."""
    headline, detail = said(partial(gain_in_short, decision))
    return Gained("What it brings" if decision.verdict.changes else "What a change would bring", headline, detail)


def acid_table(reading: Reading) -> Table | None:
    """How much of the recommended acid each garden used, and the pH that it gave."""
    acid = reading.recommended.acidifier or reading.fixed.acidifier
    alkalinity = {site.site: site.alkalinity_mg_l_caco3 for site in reading.design.sites}
    used = _acid_used(reading.design, acid)
    powder = any(row.powder_g_per_tsp is not None for row in used)
    amount = f"{'powder' if powder else 'acid'} a bucket"
    heads = (text_column("garden"), *columns("", "alkalinity, mg/L CaCO₃", amount, "pH after mixing", "buckets")[1:])
    body = (
        Row(
            reading.site_names[row.site],
            (
                plain(alkalinity[row.site]),
                _acid_amount(reading, row),
                told(row.ph_after, "pH"),
                plain(row.buckets),
            ),
        )
        for row in used
    )
    note = reading.said(lambda system: [_acid_table_note(system.measures, powder=powder)])[0]
    return make_table("acid", f"How much {acid} the gardens used", heads, body, note)


def _acid_table_note(measures: Measures, *, powder: bool) -> str:
    return (
        "These are medians of what was recorded. Water of more alkalinity needs more acid, so go by your own water. "
        "Add a little at a time, and test with a strip. Add acid to water, never water to acid."
        f"{' ' + _dissolve(measures) if powder else ''}"
    )


def _card(reading: Reading) -> Iterator[CardLine]:
    if not reading.recommended:
        return
    for column, level in (reading.recommended.levels | reading.fixed.levels).items():
        title, before = FACTOR_TITLES[column], reading.current.level(column)
        was = None if before in (None, level) else joined("was ", reading.level_label(column, before))
        if isinstance(level, float):
            is_drawn = level.is_integer() and level <= MOST_SPOONS_DRAWN and reading.design.measures != "metric"
            drawn = int(level) if is_drawn else 0
            note = f"of {_nutrient(reading.design)} a bucket" if level else ""
            yield CardLine(title, reading.said(partial(_dose_words, level))[0], note, drawn, was)
            yield from _part_lines(reading, level)
        elif column == "acidifier":
            yield CardLine(title, acid_words(level), _acid_note(reading, level), before=was)
        else:
            yield CardLine(title, level, before=was)


def _dose_words(dose_tsp: float, system: MeasureSystem) -> list[str]:
    return [teaspoons(dose_tsp, system)]


def _part_lines(reading: Reading, dose_tsp: float) -> Iterator[CardLine]:
    """What goes in after the nutrient, in this order."""
    for part in reading.design.feed_parts if dose_tsp else ():

        def told(system: MeasureSystem, part: FeedPart = part) -> list[str]:
            return [part_amount(dose_tsp * part.tsp, part.g_per_tsp, system.measures)]

        (amount,) = reading.said(told)
        yield CardLine("Then stir in", amount, f"of {part.product} a bucket, once the last is dissolved")


def _nutrient(design: Design) -> str:
    """Name the product that the doses are of."""
    factors: tuple[VariedFactor | FixedFactor, ...] = (*design.factors, *design.fixed)
    return next((factor.product for factor in factors if factor.name == "dose" and factor.product), "nutrient")


def _acid_used(design: Design, acidifier: str | None) -> tuple[AcidUsed, ...]:
    """What each garden used of an acid."""
    return tuple(row for row in design.acid_used if row.acidifier == acidifier != NO_PRODUCT)


def _acid_note(reading: Reading, acidifier: str | None) -> Sentence | str:
    """How much acid the gardens used: it follows their water, so there is no one dose."""
    used = _acid_used(reading.design, acidifier)
    doses = [row.acid_tsp for row in used if row.acid_tsp is not None]
    if not doses:
        return ""
    powder = used[0].powder_g_per_tsp
    amount = reading.said(lambda system: [acid_range(min(doses), max(doses), powder, system)])[0]
    return joined(amount, " a bucket, by the water")


def _dissolve(measures: Measures) -> str:
    some = in_measures(measures, "a level teaspoon", "a level 5 mL spoon")
    each = in_measures(measures, "cup", f"{CUP_ML:.0f} mL")
    return f"Dissolve the powder first, {some} in each {each} of water. Add that in small steps."


def _acid_amount(reading: Reading, row: AcidUsed) -> str | Sentence:
    """A liquid in each measure system; a powder by weight, since nobody may add it by the spoon."""
    amount, grams = row.acid_tsp, row.powder_g_per_tsp
    if amount is None:
        return ABSENT
    if grams is not None:
        return f"{plain(amount * grams, 2)} g"
    millilitres = f"{plain(amount * TEASPOON_ML, 2)} mL"
    return reading.said(lambda system: [in_measures(system.measures, f"{spoons(amount)} tsp", millilitres)])[0]


def foot(said: Said, volume_l: float, heads: int, yield_g: float) -> Sentence:
    """Say for which bucket the card is, and what a transplanted head is expected to give."""

    def line(system: MeasureSystem) -> str:
        kitchen, metric = (f"{told(*as_told(yield_g, 'g', way))} {head_unit(way)}" for way in ("kitchen", "metric"))
        expected = in_measures(system.measures, kitchen, metric)
        bucket = volume_words(volume_l, system.measures)
        return (
            f"For {count(heads, 'head')} in a bucket of {bucket}. Expect {expected} per transplanted head. A lost one "
            "counts as zero."
        )

    return said(lambda system: [line(system)])[0]


def sureness(decision: Decision, said: Said) -> tuple[Sureness, ...]:
    """How sure the choice is, as two different chances."""
    meanings = said(lambda system: [words for _, words in chances(decision, system)])
    return tuple(
        Sureness(
            hundredths=round(min(max(100 * probability, 1.0), 99.0)),  # a picture claims no certainty either
            headline=chance(probability),
            word=chance_word(probability),
            meaning=meaning,
        )
        for (probability, _), meaning in zip(chances(decision), meanings, strict=True)
    )


def versus_table(reading: Reading) -> Table | None:
    """Current practice beside the recommended default, or beside the best of the others where it is kept."""
    decision = reading.decision
    if decision is None:
        return None
    names = ("", "current practice", "best alternative" if reading.is_kept else "recommended", "difference")
    return make_table(
        "versus",
        "Against the current practice",
        tuple(text_column(name) for name in names),
        (*_levels(reading), *_expected(reading, decision), *_days(decision)),
        f"In brackets stands the {percent(decision.thresholds.confidence)} interval, on average over gardens and "
        "seasons. A head that was lost counts as zero.",
        is_ordered=True,
    )


def _levels(reading: Reading) -> Iterator[Row]:
    for factor in reading.design.factors:
        now, then = reading.current.level(factor.column), reading.rival.level(factor.column)
        change = "the same" if now == then else "changes"
        yield Row(
            FACTOR_LABELS[factor.name],
            (reading.level_label(factor.column, now), reading.level_label(factor.column, then), change),
        )


def _expected(reading: Reading, decision: Decision) -> Iterator[Row]:
    now, then, gain = decision.candidate(decision.current), decision.shown, decision.shown.gain
    assert gain is not None  # only the current practice has none
    gained = reading.said(lambda system: [_gain_words(gain, system.measures)])[0]
    yield Row("estimate per transplanted head", (*_weights(reading, now.yield_g, then.yield_g), gained))
    yield Row("marketable heads, estimate", (*(whole_percent(one.share_usable) for one in (now, then)), ABSENT))
    yield Row("raw mean per transplanted head", (*_weights(reading, now.raw_yield_g, then.raw_yield_g), ABSENT))
    yield Row("buckets", (*(_buckets(one) for one in (now, then)), ABSENT))


def _gain_words(gain: Gain, measures: Measures) -> str:
    gained, limits = gain_and_interval(gain, measures)
    return f"{gained} {head_unit(measures)} ({limits})"


def _told(grams: float, system: MeasureSystem) -> list[str]:
    return [head_weight(grams, system)]


def _weights(reading: Reading, *grams: float | None) -> tuple[str | Sentence, ...]:
    return tuple(ABSENT if one is None else reading.said(partial(_told, one))[0] for one in grams)


def _buckets(candidate: Candidate) -> str:
    return plain(candidate.stood.buckets, 9) if candidate.stood.buckets else "in no bucket"


def _days(decision: Decision) -> Iterator[Row]:
    now, then = decision.candidate(decision.current).days, decision.shown.days
    if decision.days_later is None or now is None or then is None:
        return
    later = signed(decision.days_later, "days")
    if decision.days_later_limits:
        limits = difference_interval(*decision.days_later_limits, "days")
        later += f" ({limits})"
    yield Row("days to harvest, estimate", (told(now, "days"), told(then, "days"), later))
