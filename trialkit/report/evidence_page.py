"""`evidence_html`: what all trials of a ledger say together, as one page that needs nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from trialkit.documents.decision import Candidate
from trialkit.documents.ledger_entry import SHOWN_DIGITS
from trialkit.documents.recommended import PracticePart, Recommended
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.pages.numerals import (
    chance_percent,
    fixed,
    gain_and_interval,
    interval,
    loss_words,
    percent,
    plain,
    signed,
    told_weight,
)
from trialkit.pages.safe_text import safe_document
from trialkit.pages.shell import page_script, page_style, render_page
from trialkit.pages.table import Row, Table, columns, make_table, text_column
from trialkit.report.answer import (
    FACTOR_TITLES,
    TONES,
    AnswerCard,
    CardLine,
    Measured,
    gained,
    sureness,
    verdict_words,
)
from trialkit.report.figures.evidence import evidence_pictures
from trialkit.report.page import TEMPLATES
from trialkit.report.reading import PART_WORDS, Part
from trialkit.words import default_words as words
from trialkit.words.cautions import cautions_for, short_cautions
from trialkit.words.decision_words import MONEY, after_costs, minds_of_all
from trialkit.words.feed_words import part_amount
from trialkit.words.measures import (
    MeasureSystem,
    head_unit,
    head_weight,
    in_every_measure,
    joined,
    least_weight,
    teaspoons,
    volume_words,
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
    return render_page(
        TEMPLATES,
        "evidence.html.jinja",
        page_style(),
        page_script(),
        card=_card(safe),
        sentences=words.answer(safe, safe.measures),
        facts=_facts(safe),
        scope=(*words.scope(safe, safe.measures), *words.acid_taken(safe)),
        changed=tuple(words.changes(safe, safe.measures)),
        would_change=words.what_would_change_it(safe, safe.measures),
        next_trial=words.next_trial(safe, safe.measures),
        why_next=words.why_next(safe, safe.measures),
        found=words.trial_by_trial(safe, safe.measures),
        pictures=evidence_pictures(safe),
        tables=(_candidates(safe), _trials(safe), _spreads(safe)),
        date=safe.date,
        digest=safe.evidence_sha256,
        made_with=safe.made_with["trialkit"],
        cautions=cautions_for("evidence", safe.recommended.volume_l, safe.measures),
        in_short=short_cautions(safe.recommended.volume_l, safe.measures),
    )


def _card(safe: Recommended) -> AnswerCard:
    """The answer on one card, in the measures of the newest protocol."""
    decision, best = safe.decision, safe.recommended
    said = partial(in_every_measure, nutrient_g_per_tsp=best.nutrient_g_per_tsp, measures=safe.measures)

    def told(say: Callable[[MeasureSystem], str]) -> Measured:
        return Measured(getattr(said(lambda system: [say(system)])[0], safe.measures))

    minded = said(lambda system: [*minds_of_all(decision, system), *words.what_is_not_known(safe)])
    return AnswerCard(
        verdict=verdict_words(decision),
        tone=TONES[decision.verdict],
        lines=tuple(_lines(safe, told)),
        bucket=told(lambda system: volume_words(best.volume_l, system.measures)),
        heads=count(best.heads, "head"),
        gained=gained(decision, said),
        expectation=told(lambda system: head_weight(safe.yield_g.mean, system)),
        sureness=sureness(decision, said),
        minds=minded,
    )


def _lines(safe: Recommended, told: Callable[[Callable[[MeasureSystem], str]], Measured]) -> Iterator[CardLine]:
    best, was = safe.recommended, safe.current
    for column, level in best.treatment.levels.items():
        before = was.treatment.level(column)
        system = MeasureSystem(safe.measures, was.nutrient_g_per_tsp)
        then = joined("was ", level_label(column, before, system)) if before not in (None, level) else None
        if isinstance(level, float):
            note = f"of {best.product or 'nutrient'} a bucket" if level else ""
            yield CardLine(FACTOR_TITLES[column], told(partial(teaspoons, level)), note, before=then)
            for part in best.parts if level else ():
                amount = partial(_part_amount, part)
                note = f"of {part.product} a bucket, once the last is dissolved"
                yield CardLine("Then stir in", told(amount), note)
        elif column == "acidifier":
            note = "a little at a time, by your water, as in the table of the handout" if safe.acid else ""
            yield CardLine(FACTOR_TITLES[column], Measured(acid_words(level)), note, before=then)
        else:
            yield CardLine(FACTOR_TITLES[column], Measured(level), before=then)


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
    decision, money = safe.decision, safe.decision.unit != "g per transplanted head"
    measures, unit = safe.measures, head_unit(safe.measures)
    system = MeasureSystem(measures, safe.recommended.nutrient_g_per_tsp)
    every = sorted(decision.candidates, key=lambda one: -one.expected_value)
    body = (
        Row(
            treatment_label(one.treatment, tuple(FACTOR_COLUMNS.values()), system),
            (
                told_weight(one.raw_yield_g, measures),
                told_weight(one.yield_g, measures),
                "{} ({})".format(*gain_and_interval(one.gain, measures)) if one.gain else "",
                "" if one.probability_better is None else chance_percent(one.probability_better),
                chance_percent(one.probability_near_best),
                plain(one.expected_loss, 2) if money else loss_words(one.expected_loss, measures),
                f"{one.stood.buckets} in {one.stood.trials}" if one.stood.buckets else "0",
            ),
            PART_WORDS[_part(one)],
        )
        for one in every
    )
    heads = columns(
        "treatment",
        f"raw mean, {unit}",
        f"estimate, {unit}",
        f"gain, {unit}, with its {percent(decision.thresholds.confidence)} interval",
        "chance better",
        "chance near best",
        "given up a bucket" if money else f"given up, {unit}",
        "buckets, in trials",
    )
    margin = least_weight(decision.thresholds.margin_g, MeasureSystem(measures))
    note = (
        "Weights are per transplanted head, lost ones counting as zero. The raw mean is that of the buckets, whatever "
        "gardens and seasons they stood in. The estimate and everything after it come from the model of all trials, on "
        "average over gardens and seasons. Better is better than the current practice, in a new garden and season"
        f"{after_costs(decision)}. Near best is within {margin} of the best that was tried. Given up is how much less "
        f"it yields, on average, than whatever is truly the best{f', {MONEY}' if money else ''}. The last column "
        "counts buckets with just this treatment. A dose between those tried has none."
    )
    return make_table("candidates", "Every treatment that could be the default", heads, body, note)


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
                words.recorded_gain(one) if one.gain is None else signed(one.gain),
                plain(one.gain_se),
                one.id[:SHOWN_DIGITS],
            ),
        )
        for one in safe.evidence
    )
    heads = (
        text_column("trial"),
        text_column("season"),
        *columns("", "gardens", "buckets", "heads", "gain as recorded, g", "standard error, g")[1:],
        text_column("digest"),
    )
    return make_table("trials", "The trials that this rests on", heads, body)


def _spreads(safe: Recommended) -> Table | None:
    body = (
        Row(SPREAD_WORDS[one.of], (fixed(one.sd_g), interval(one.lower_g, one.upper_g)))
        for one in safe.decision.spreads
    )
    limits = f"{percent(safe.decision.thresholds.confidence)} interval, g"
    heads = columns("differences between", "standard deviation, g per marketable head", limits)
    note = "Averaged over what the records leave open. What few trials cannot tell comes from the priors."
    return make_table("spreads", "How much things vary", heads, body, note)
