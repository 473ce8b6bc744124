"""Cautions as a page says them: in each measure system."""

from __future__ import annotations

from dataclasses import dataclass

from trialkit.domain.units import Measures
from trialkit.words.cautions import Handed, cautions_for, short_cautions
from trialkit.words.measures import Sentence, in_every_measure


@dataclass(frozen=True)
class SaidCaution:
    """A caution under its title."""

    title: str
    text: Sentence


def said_cautions(handed: Handed, volume_l: float, measures: Measures) -> tuple[SaidCaution, ...]:
    """Say the cautions that concern a page, of buckets that hold so much."""
    titles = (one.title for one in cautions_for(handed, volume_l))
    texts = in_every_measure(
        lambda system: [one.text for one in cautions_for(handed, volume_l, system.measures)], None, measures
    )
    return tuple(SaidCaution(*one) for one in zip(titles, texts, strict=True))


def said_in_short(volume_l: float, measures: Measures) -> Sentence:
    """Say what concerns gardeners, all in a few words."""
    return in_every_measure(lambda system: [" ".join(short_cautions(volume_l, system.measures))], None, measures)[0]
