"""What is printed: a pack for each garden, and the adviser's own pages."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any

from trialkit.forms.bench_map import bench_maps
from trialkit.forms.card_facts import mixing_cards
from trialkit.forms.garden_buckets import (
    NamedBucket,
    buckets_of_garden,
    due_in_garden,
    garden_name,
    gardens_with_buckets,
    same_in_all,
    shared_out,
)
from trialkit.forms.record_sheets import READING_DAYS, record_sheets, sheet_columns, sheet_measures
from trialkit.languages import gettext, speaking
from trialkit.pages.cross_section import cross_section
from trialkit.pages.running_lines import running_lines
from trialkit.pages.safe_text import safe_text
from trialkit.pages.shell import page_style, render_page
from trialkit.rules.form_marks import form_marks, version_of_mark
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.tables.bucket_ids import label_code
from trialkit.tables.table_schema import load_schema
from trialkit.words.calendar_words import due_words
from trialkit.words.card_words import BEFORE_MIXING, bucket_amounts, card_words, mixing_words
from trialkit.words.care_words import BucketFacts, care_sections, care_sources, drawing_labels, ready_words
from trialkit.words.cautions import cautions_for
from trialkit.words.pack_words import send_to
from trialkit.words.phrases import listed, season_words, short_day

TEMPLATES = Path(__file__).parent / "templates"
CARDS_A_SHEET = 8
EXAMPLE_DAY = date(2026, 9, 17)


@dataclass(frozen=True)
class BucketCard:
    """A bucket's card, to be cut out and stuck onto it."""

    bucket: str
    place: str
    treatment: str
    amounts: Annotated[tuple[str, ...], "What goes into it, in order; nothing in a blind trial."]
    same: Annotated[tuple[str, ...], "What all buckets have, as far as the amounts do not name it."]
    qr: str


def garden_pack(trial: CheckedTrial, site: str) -> str:
    """Write what a garden prints: cautions, days, map, set-up and care, how to mix, bucket cards, record sheets.

    It is a self-contained page without script, in the garden's language; garden, trial and whom to send it back to
    stand on every sheet. A blind trial's names no treatment and does not tell how to mix.

    Raises
    ------
    WrongCall
        If the trial has no such garden, or it has no buckets.
    """
    with speaking(trial.language_of(site)):
        return _garden_pack(trial, site)


def _garden_pack(trial: CheckedTrial, site: str) -> str:
    buckets, about = buckets_of_garden(trial, site), trial.protocol.trial
    contact = trial.contact or about.contact_role
    whom = gettext(contact) if contact else ""  # the usual role has its words in every language; a name is its own
    due = due_in_garden(trial, site)
    garden, measures = garden_name(trial, site), about.measures
    cards = () if about.blind else mixing_cards(trial, [site])
    amounts = {bucket: bucket_amounts(card, measures) for card in cards for _, own in card.buckets for bucket in own}
    of_sheets, version = sheet_measures(trial, buckets), version_of_mark(form_marks(trial, site).layout)
    outcome = load_schema("heads").field("outcome")
    return _page(
        trial,
        "pack.html.jinja",
        running_lines(
            {
                "top-left": garden,
                "top-right": gettext("Trial {trial}, layout version {version}", trial=about.id, version=version),
                "bottom-left": gettext("Send back to: {contact}", contact=whom),
            }
        ),
        garden=safe_text(garden),
        **_care(trial),
        trial_id=about.id,
        layout_version=version,
        contact=safe_text(whom),
        has_address=bool(send_to(contact)),
        same=[safe_text(line) for line in same_in_all(trial).sentences],
        days=due_words(due, is_blind=about.blind),
        cards=shared_out(
            [_card(trial, site, bucket, amounts.get(bucket.bucket, ())) for bucket in buckets],
            math.ceil(len(buckets) / CARDS_A_SHEET),
        ),
        bench=bench_maps(trial, [site], named=not about.blind)[0],
        mixing=mixing_words(cards, measures) if cards else None,
        sheets=record_sheets(trial, buckets, due),
        columns=sheet_columns(of_sheets),
        for_typing=of_sheets.for_typing,
        reading_days=READING_DAYS,
        example_day=short_day(EXAMPLE_DAY),
        heads=trial.protocol.bucket.heads,
        ready=ready_words(measures),
        fates=listed([outcome.said(fate) for fate in outcome.listed if fate != "harvested"], "or"),
    )


def adviser_pack(trial: CheckedTrial) -> str:
    """Write what the adviser prints: every garden's map with treatments, and the mixing cards of all.

    It is a self-contained page without script; in a blind trial marked as not for the gardens.
    """
    sites, about = gardens_with_buckets(trial), trial.protocol.trial
    return _page(
        trial,
        "adviser.html.jinja",
        running_lines({"top-left": "Adviser's pages", "top-right": f"Trial {about.id}"}),
        benches=bench_maps(trial, sites, named=True),
        same=[safe_text(line) for line in same_in_all(trial).sentences],
        cards=[card_words(card, about.measures) for card in mixing_cards(trial, sites)],
        blind=about.blind,
    )


def _care(trial: CheckedTrial) -> dict[str, Any]:
    protocol = trial.protocol
    bucket, measures = protocol.bucket, protocol.trial.measures
    facts = BucketFacts(
        bucket.volume_l, bucket.heads, bucket.brim_l, protocol.schedule.transplant_after_days, is_trial=True
    )
    return {
        "drawing": cross_section(drawing_labels(facts, measures)),
        "care": care_sections(facts, measures),
        "care_sources": care_sources(),
    }


def _page(trial: CheckedTrial, template: str, running: str, **parts: Any) -> str:
    about = trial.protocol.trial
    return render_page(
        TEMPLATES,
        template,
        page_style() + (TEMPLATES / "pack.css").read_text(encoding="utf-8") + running,
        title=safe_text(about.title),
        season=safe_text(season_words(about.season)),
        before_mixing=gettext(BEFORE_MIXING),
        cautions=cautions_for("pack", trial.protocol.bucket.volume_l, about.measures),
        **parts,
    )


def _card(trial: CheckedTrial, site: str, bucket: NamedBucket, amounts: tuple[str, ...]) -> BucketCard:
    import segno

    code = segno.make(label_code(trial.protocol.trial.id, site, bucket.bucket), error="m", micro=False)
    picture = code.svg_inline(border=4, omitsize=True, dark="#000", light="#fff", svgclass="qr", lineclass=None)
    same = same_in_all(trial)
    lines = filter(None, (same.cultivar, "" if amounts else same.nutrient))
    told, named = (tuple(map(safe_text, some)) for some in (amounts, lines))
    return BucketCard(bucket.bucket, bucket.place, safe_text(bucket.treatment), told, named, picture)
