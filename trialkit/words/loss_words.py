"""What became of the heads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import astuple

from trialkit.documents.findings import HeadCounts, Losses
from trialkit.domain.heads import LOST, NOT_WEIGHED, SAYS_NOTHING
from trialkit.domain.treatment import Level
from trialkit.languages import gettext, ngettext
from trialkit.words.factor_words import effect_label
from trialkit.words.measures import BOTH, MeasureSystem
from trialkit.words.phrases import in_percent, listed, p_value
from trialkit.words.treatment_names import level_words

FATES: Mapping[str, str] = {
    "dead": "dead",
    "bolted": "bolted",
    "eaten": "eaten",
    "stolen": "stolen",
    "never_planted": "never planted",
    "gave_up": "of gardeners who gave up",
    "missing": "missing",
}
"""Outcomes of heads that were lost or have no record, as they stand after a number of heads."""
NO_NAMES: Mapping[str, str] = {}


def losses_sentence(losses: Losses, system: MeasureSystem = BOTH, names: Mapping[str, str] = NO_NAMES) -> str:
    """Say what became of every planned head, and warn where that differs between treatments or gardens.

    Gardens go by their labels where `names` has none for them.
    """
    return " ".join(_losses(losses, system, names))


def losses_warning(losses: Losses, system: MeasureSystem = BOTH) -> str:
    """Warn where losses differ by treatment, so that weights of the survivors alone mislead; empty where not."""
    return " ".join(_warning(losses, system))


def nothing_left_words(losses: Losses, system: MeasureSystem = BOTH) -> tuple[str, ...]:
    """Name each level of which no head is known to be marketable; nothing where none is, which is said instead."""
    by_level: dict[tuple[str, Level], list[HeadCounts]] = {}
    for row in losses.by_treatment:
        for column, level in row.treatment.levels.items():
            by_level.setdefault((column, level), []).append(row.heads)
    found = {of: _added(counts) for of, counts in by_level.items()}
    if not any(_is_left(heads) for heads in found.values()):
        return ()
    return tuple(
        _nothing_left(heads, level_words(column, level, system))
        for (column, level), heads in found.items()
        if not _is_left(heads)
    )


def _nothing_left(heads: HeadCounts, level: str) -> str:
    if not heads.planned:
        return gettext("No head with {level} stood in a garden that stayed.", level=level)
    if heads.unrecorded == heads.planned:
        return gettext("No head with {level} has a record, of {number} planned.", level=level, number=heads.planned)
    return gettext(
        "No head became marketable with {level}. Among {number} planned: {fates}.",
        level=level,
        number=heads.planned,
        fates=listed(list(_counted(heads))),
    )


def _added(counts: Sequence[HeadCounts]) -> HeadCounts:
    return HeadCounts(*(sum(numbers) for numbers in zip(*map(astuple, counts), strict=True)))


def _is_left(heads: HeadCounts) -> bool:
    return heads.harvested > heads.unmarketable


def _counted(heads: HeadCounts) -> Iterator[str]:
    """What became of heads none of which was marketable."""
    if heads.lost:
        yield ngettext("{number} lost", "{number} lost", heads.lost)
    if heads.not_ready:
        yield ngettext("{number} not ready at the end", "{number} not ready at the end", heads.not_ready)
    if heads.unmarketable:
        yield ngettext("{number} not marketable", "{number} not marketable", heads.unmarketable)
    if heads.unrecorded:
        yield gettext("{number} without a record", number=heads.unrecorded)


def _losses(losses: Losses, system: MeasureSystem, names: Mapping[str, str]) -> Iterator[str]:
    heads = losses.heads
    parts = [f"{heads.harvested} of {heads.planned} planned heads were harvested", f"{heads.lost} lost"]
    parts += [f"{heads.not_ready} not ready at the end"] * bool(heads.not_ready)
    parts += [f"{heads.unrecorded} without a record"] * bool(heads.unrecorded)
    yield f"{listed(parts)}."
    yield from _fates(losses)
    if heads.unmarketable:
        were = "was" if heads.unmarketable == 1 else "were"
        yield f"{heads.unmarketable} of those harvested {were} not marketable."
    yield from _warning(losses, system)
    if losses.gardens_vary:
        share, worst = min((row.share_usable, row.site) for row in losses.by_site if row.share_usable is not None)
        some = f"only {in_percent(share)}" if share else "none"
        yield f"Gardens differ: at {names.get(worst, worst)}, {some} of the recorded heads were marketable."
    if losses.unfinished:
        yield "Many heads have no record, so the answer is that of the others alone."


def _fates(losses: Losses) -> Iterator[str]:
    """How heads were lost, and why others have no record, as far as somebody wrote it down."""
    known = losses.outcomes
    lost, unrecorded = (_listed(known, outcomes) for outcomes in (LOST, SAYS_NOTHING))
    if lost:
        yield f"Among those lost: {lost}."
    if unrecorded:
        yield f"Among those without a record: {unrecorded}."
    if known.get(NOT_WEIGHED):
        yield f"{known[NOT_WEIGHED]} of those harvested were not weighed, so they count as heads but tell no weight."


def _listed(known: Mapping[str, int], outcomes: Sequence[str]) -> str:
    named = [f"{known[outcome]} {FATES[outcome]}" for outcome in outcomes if known.get(outcome)]
    return listed(named) if named else ""


def _warning(losses: Losses, system: MeasureSystem) -> Iterator[str]:
    for factor in losses.by_factor:
        if factor.p is not None and factor.differ:
            worst = min(factor.levels, key=lambda level: level.usable.estimate)
            best = max(factor.levels, key=lambda level: level.usable.estimate)
            yield (
                f"Losses differ by {effect_label(factor.column)} ({p_value(factor.p)}). Of the recorded heads, "
                f"{in_percent(worst.usable.estimate)} were marketable with "
                f"{level_words(factor.column, worst.level, system)}, and {in_percent(best.usable.estimate)} with "
                f"{level_words(factor.column, best.level, system)}."
            )
    if losses.treatments_vary and not any(factor.differ for factor in losses.by_factor):
        shares = [row.share_usable for row in losses.by_treatment if row.share_usable is not None]
        yield (
            f"From treatment to treatment, {in_percent(min(shares))} to {in_percent(max(shares))} of the recorded "
            "heads were marketable, which may be luck."
        )
    if losses.go_with_the_treatment:
        yield (
            "The answer counts a lost head as zero. Weights of harvested heads, and days, leave it out, so never go by "
            "them alone."
        )
