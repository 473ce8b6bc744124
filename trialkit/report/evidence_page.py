"""`evidence_html`: what all trials of a ledger say together, as one page that needs nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import partial

from trialkit.documents.decision import Candidate, Gain
from trialkit.documents.ledger_entry import SHOWN_DIGITS
from trialkit.documents.recommended import Practice, PracticePart, Recommended
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.treatment import Level
from trialkit.domain.units import Measures
from trialkit.pages.head_weights import amount, gain_and_interval, in_unit, limits
from trialkit.pages.numerals import chance_percent, percent, told
from trialkit.pages.safe_text import safe_document
from trialkit.pages.shell import page_script, page_style, render_page
from trialkit.pages.table import Row, Table, columns, make_table, text_column
from trialkit.report.answer import (
    FACTOR_TITLES,
    TONES,
    AnswerCard,
    CardLine,
    foot,
    gained,
    sureness,
    verdict_words,
)
from trialkit.report.figures.evidence import evidence_pictures, recorded_cells
from trialkit.report.page import TEMPLATES
from trialkit.report.reading import PART_WORDS, Part
from trialkit.report.said_cautions import said_cautions, said_in_short
from trialkit.words import default_words as words
from trialkit.words.decision_words import MONEY, after_costs, minds_of_all
from trialkit.words.feed_words import part_amount
from trialkit.words.measures import (
    MeasureSystem,
    Sentence,
    each_way,
    in_every_measure,
    least_weight,
    teaspoons,
)
from trialkit.words.model_words import SPREAD_WORDS
from trialkit.words.phrases import count
from trialkit.words.treatment_names import acid_words, level_label, treatment_label


def evidence_html(document: Recommended) -> str:
    """Write pooled evidence as one self-contained HTML page.

    Parameters
    ----------
    document : Recommended
        Every text in it may come from strangers.
    """
    safe = safe_document(document)
    volume_l, measures = safe.recommended.volume_l, safe.measures
    return render_page(
        TEMPLATES,
        "evidence.html.jinja",
        page_style(),
        page_script(),
        card=_card(safe),
        sentences=_said(safe, words.answer),
        has_switch=measures == "both",
        facts=_facts(safe),
        scope=(*_said(safe, words.scope), *words.acid_taken(safe)),
        changed=_said(safe, words.changes),
        would_change=_said(safe, words.what_would_change_it),
        next_trial=_told(safe, words.next_trial),
        why_next=_told(safe, words.why_next),
        found=_told(safe, words.trial_by_trial),
        pictures=evidence_pictures(safe),
        tables=(_candidates(safe), _trials(safe), _spreads(safe)),
        date=safe.date,
        digest=safe.evidence_sha256,
        made_with=safe.made_with["trialkit"],
        cautions=said_cautions("evidence", volume_l, measures),
        in_short=said_in_short(volume_l, measures),
    )


def _said(safe: Recommended, say: Callable[[Recommended, Measures], Iterable[str]]) -> tuple[Sentence, ...]:
    """Say sentences in each measure system."""
    return in_every_measure(lambda system: list(say(safe, system.measures)), None, safe.measures)


def _told(safe: Recommended, say: Callable[[Recommended, Measures], str]) -> Sentence:
    return _said(safe, lambda document, measures: [say(document, measures)])[0]


def _card(safe: Recommended) -> AnswerCard:
    """The answer on one card."""
    decision, best = safe.decision, safe.recommended
    said = partial(in_every_measure, nutrient_g_per_tsp=best.nutrient_g_per_tsp, measures=safe.measures)
    return AnswerCard(
        verdict=verdict_words(decision),
        tone=TONES[decision.verdict],
        lines=tuple(_lines(safe)),
        gained=gained(decision, said),
        sureness=sureness(decision, said),
        minds=said(lambda system: [*minds_of_all(decision, system), *words.what_is_not_known(safe)]),
        foot=foot(said, best.volume_l, best.heads, safe.yield_g.mean),
    )


def _lines(safe: Recommended) -> Iterator[CardLine]:
    best, was = safe.recommended, safe.current
    for column, level in best.treatment.levels.items():
        before, then = was.treatment.level(column), None
        if before not in (None, level):
            then = _of(safe, was, partial(_was_words, column, before))
        title = FACTOR_TITLES[column]
        if isinstance(level, float):
            note = f"of {best.product or 'nutrient'} a bucket" if level else ""
            yield CardLine(title, _of(safe, best, partial(teaspoons, level)), note, before=then)
            for part in best.parts if level else ():
                note = f"of {part.product} a bucket, once the last is dissolved"
                yield CardLine("Then stir in", _of(safe, best, partial(_part_amount, part)), note)
        elif column == "acidifier":
            note = "a little at a time, by your water, as in the table of the handout" if safe.acid else ""
            yield CardLine(title, acid_words(level), note, before=then)
        else:
            yield CardLine(title, level, before=then)


def _was_words(column: str, level: Level | None, system: MeasureSystem) -> str:
    return f"was {level_label(column, level, system)}"


def _of(safe: Recommended, practice: Practice, say: Callable[[MeasureSystem], str]) -> Sentence:
    """Say something of a practice, whose teaspoon weighs what its nutrient does, in each measure system."""
    return in_every_measure(lambda system: [say(system)], practice.nutrient_g_per_tsp, safe.measures)[0]


def _part_amount(part: PracticePart, system: MeasureSystem) -> str:
    return part_amount(part.tsp, part.g_per_tsp, system.measures)


def _facts(safe: Recommended) -> tuple[str, ...]:
    evidence = safe.decision.evidence
    return (
        count(evidence.trials, "trial"),
        count(evidence.gardens, "garden"),
        count(evidence.buckets, "bucket"),
        count(sum(one.heads for one in safe.evidence), "head"),
        f"version {safe.version}",
    )


def _candidates(safe: Recommended) -> Table | None:
    decision, measures = safe.decision, safe.measures
    money = decision.unit != "g per transplanted head"
    every = sorted(decision.candidates, key=lambda one: -one.expected_value)
    body = (
        Row(
            _of(safe, safe.recommended, partial(_label, one)),
            (
                amount(one.raw_yield_g, "g", measures),
                amount(one.yield_g, "g", measures),
                each_way(partial(_gain_words, one.gain), measures),
                "" if one.probability_better is None else chance_percent(one.probability_better),
                chance_percent(one.probability_near_best),
                told(one.expected_loss, "money") if money else amount(one.expected_loss, "g", measures, finer=True),
                f"{one.stood.buckets} in {one.stood.trials}" if one.stood.buckets else "0",
            ),
            PART_WORDS[_part(one)],
        )
        for one in every
    )

    def weight(heading: str) -> Sentence:
        return in_unit(heading.format, "g", measures)

    heads = columns(
        "treatment",
        weight("raw mean, {}"),
        weight("estimate, {}"),
        weight(f"gain, {{}}, with its {percent(decision.thresholds.confidence)} interval"),
        "chance better",
        "chance near best",
        "given up a bucket" if money else weight("given up, {}"),
        "buckets, in trials",
    )
    note = _told(safe, _candidate_note)
    return make_table("candidates", "Every treatment that could be the default", heads, body, note)


def _label(one: Candidate, system: MeasureSystem) -> str:
    return treatment_label(one.treatment, tuple(FACTOR_COLUMNS.values()), system)


def _gain_words(gain: Gain | None, measures: Measures) -> str:
    return "{} ({})".format(*gain_and_interval(gain, measures)) if gain else ""


def _candidate_note(safe: Recommended, measures: Measures) -> str:
    decision = safe.decision
    margin = least_weight(decision.thresholds.margin_g, MeasureSystem(measures))
    money = decision.unit != "g per transplanted head"
    return (
        "Weights are per transplanted head, lost ones counting as zero. The raw mean is that of the buckets, whatever "
        "gardens and seasons they stood in. The estimate and everything after it come from the model of all trials, on "
        "average over gardens and seasons. Better is better than the current practice, in a new garden and season"
        f"{after_costs(decision)}. Near best is within {margin} of the best that was tried. Given up is how much less "
        f"it yields, on average, than whatever is truly the best{f', {MONEY}' if money else ''}. The last column "
        "counts buckets with just this treatment. A dose between those tried has none."
    )


def _part(one: Candidate) -> Part:
    if one.is_recommended:
        return "kept" if one.is_current else "recommended"
    return "current" if one.is_current else "other"


def _trials(safe: Recommended) -> Table | None:
    body = (
        Row(
            one.trial,
            (
                one.season,
                str(one.gardens),
                str(one.buckets),
                str(one.heads),
                *recorded_cells(one, safe.measures),
                one.id[:SHOWN_DIGITS],
            ),
        )
        for one in safe.evidence
    )
    found = ("gain as recorded", "standard error")
    weights = (in_unit(f"{one}, {{}}".format, "g", safe.measures) for one in found)
    heads = (
        text_column("trial"),
        text_column("season"),
        *columns("", "gardens", "buckets", "heads", *weights)[1:],
        text_column("digest"),
    )
    return make_table("trials", "The trials that this rests on", heads, body)


def _spreads(safe: Recommended) -> Table | None:
    measures = safe.measures
    body = (
        Row(
            SPREAD_WORDS[one.of],
            (
                amount(one.sd_g, "g", measures, finer=True),
                limits(one.lower_g, one.upper_g, "g", measures, finer=True),
            ),
        )
        for one in safe.decision.spreads
    )
    told_of = (
        "standard deviation, {} per marketable head",
        f"{percent(safe.decision.thresholds.confidence)} interval, {{}}",
    )
    heads = columns("differences between", *(in_unit(one.format, "g", measures) for one in told_of))
    note = "Averaged over what the records leave open. What few trials cannot tell comes from the priors."
    return make_table("spreads", "How much things vary", heads, body, note)
