"""What is printed: a pack for each garden, and the adviser's own pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from trialkit.domain.table_names import TableName
from trialkit.forms.card_facts import mixing_cards
from trialkit.forms.garden_buckets import (
    NamedBucket,
    buckets_of_garden,
    garden_name,
    gardens_with_buckets,
    label_measures,
)
from trialkit.pages.cross_section import cross_section
from trialkit.pages.safe_text import safe_text
from trialkit.pages.shell import page_style, render_page
from trialkit.planning.benches import planned_benches
from trialkit.rules.form_marks import form_marks, version_of_mark
from trialkit.rules.trial_folder import Trial
from trialkit.tables.bucket_ids import label_code
from trialkit.tables.table_schema import Field, load_schema
from trialkit.words.card_words import BEFORE_MIXING, card_words
from trialkit.words.care_words import SOURCES, BucketFacts, care_sections, drawing_labels
from trialkit.words.cautions import cautions_for
from trialkit.words.treatment_names import treatment_label

TEMPLATES = Path(__file__).parent / "templates"
BLANK_MIXINGS, BLANK_VISITS = 2, 12
SHORT_WORDS = 6  # more allowed words than this are written out, not ticked


@dataclass(frozen=True)
class Label:
    """A bucket's label."""

    bucket: str
    place: str
    treatment: str
    qr: str


@dataclass(frozen=True)
class Line:
    """Buckets side by side on a bench: identity and treatment."""

    label: str
    places: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Bench:
    """A garden's bench, line by line."""

    garden: str
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Sheet:
    """A table to fill in by hand: headings, and for each row its keys; a column with words is ticked."""

    title: str
    about: str
    keys: tuple[str, ...]
    columns: tuple[tuple[str, tuple[str, ...]], ...]
    rows: tuple[tuple[str, ...], ...]


def garden_pack(trial: Trial, site: str) -> str:
    """Write what a garden prints: cautions, set-up and care, map, labels, mixing cards, record sheets.

    It is a self-contained page without script. A blind trial's names no treatment and has no mixing cards.

    Raises
    ------
    WrongCall
        If the trial has no such garden, or it has no buckets.
    """
    buckets, blind = buckets_of_garden(trial, site), trial.protocol.trial.blind
    measures = trial.protocol.trial.measures
    return _page(
        trial,
        "pack.html.jinja",
        garden=safe_text(garden_name(trial, site)),
        **_care(trial),
        trial_id=trial.protocol.trial.id,
        layout_version=version_of_mark(form_marks(trial, site).layout),
        labels=[_label(trial.protocol.trial.id, site, bucket) for bucket in buckets],
        benches=_benches(trial, [site], named=not blind),
        cards=() if blind else [card_words(card, measures) for card in mixing_cards(trial, [site])],
        sheets=_sheets(trial, site, buckets),
    )


def adviser_pack(trial: Trial) -> str:
    """Write what the adviser prints: every garden's map with treatments, and the mixing cards of all.

    It is a self-contained page without script; in a blind trial marked as not for the gardens.
    """
    sites = gardens_with_buckets(trial)
    return _page(
        trial,
        "adviser.html.jinja",
        benches=_benches(trial, sites, named=True),
        cards=[card_words(card, trial.protocol.trial.measures) for card in mixing_cards(trial, sites)],
        blind=trial.protocol.trial.blind,
    )


def _care(trial: Trial) -> dict[str, Any]:
    protocol = trial.protocol
    bucket, measures = protocol.bucket, protocol.trial.measures
    facts = BucketFacts(
        bucket.volume_l, bucket.heads, bucket.brim_l, protocol.schedule.transplant_after_days, is_trial=True
    )
    return {
        "drawing": cross_section(drawing_labels(facts, measures)),
        "care": care_sections(facts, measures),
        "care_sources": SOURCES,
    }


def _page(trial: Trial, template: str, **parts: Any) -> str:
    about = trial.protocol.trial
    return render_page(
        TEMPLATES,
        template,
        page_style() + (TEMPLATES / "pack.css").read_text(encoding="utf-8"),
        title=safe_text(about.title),
        season=safe_text(about.season),
        before_mixing=BEFORE_MIXING,
        cautions=cautions_for("pack", trial.protocol.bucket.volume_l, about.measures),
        **parts,
    )


def _label(trial: str, site: str, bucket: NamedBucket) -> Label:
    import segno

    code = segno.make(label_code(trial, site, bucket.bucket), error="m", micro=False)
    picture = code.svg_inline(border=4, omitsize=True, dark="#000", light="#fff", svgclass="qr", lineclass=None)
    return Label(bucket.bucket, bucket.place, safe_text(bucket.treatment), picture)


def _benches(trial: Trial, sites: Sequence[str], *, named: bool) -> tuple[Bench, ...]:
    word = "volunteer" if trial.protocol.layout.kind == "volunteer blocks" else "block"
    columns, benches = trial.protocol.treatment_columns, []
    for bench in planned_benches(trial, trial.layout):
        if bench.site not in sites:
            continue
        several = bench.rows > 1
        lines: dict[int, list[tuple[str, str]]] = {}
        for place in bench.places:
            told = safe_text(treatment_label(place.treatment, columns, label_measures(trial))) if named else ""
            lines.setdefault(place.row if several else place.block, []).append((place.bucket, told))
        told_lines = (Line(f"{'row' if several else word} {key}", tuple(places)) for key, places in lines.items())
        benches.append(Bench(safe_text(bench.name), tuple(told_lines)))
    return tuple(benches)


def _sheets(trial: Trial, site: str, buckets: Sequence[NamedBucket]) -> tuple[Sheet, ...]:
    identities = [bucket.bucket for bucket in buckets]
    heads = [(bucket, str(head)) for bucket in identities for head in range(1, trial.protocol.bucket.heads + 1)]
    return (
        _sheet("heads", "bucket", heads),
        _sheet("solution", "bucket", [(bucket,) for bucket in identities for _ in range(BLANK_MIXINGS)]),
        _sheet("visits", "site", [(site,)] * BLANK_VISITS),
    )


def _sheet(name: TableName, first_key: str, rows: Sequence[tuple[str, ...]]) -> Sheet:
    """Make a sheet from a table's schema: keys that are filled in, then what is written by hand."""
    schema = load_schema(name)
    filled = [field for field in schema.fields if field.name in (first_key, "head")]
    written = [field for field in schema.fields if field not in filled]
    return Sheet(
        schema.title,
        schema.description,
        tuple(field.title for field in filled),
        tuple((_heading(field), _ticks(field)) for field in written),
        tuple(rows),
    )


def _heading(field: Field) -> str:
    return f"{field.title}, {field.unit}" if field.unit and "[" not in field.unit else field.title


def _ticks(field: Field) -> tuple[str, ...]:
    words = field.enum or (field.true_values[:1] + field.false_values[:1] if field.type == "boolean" else ())
    return tuple(word.replace("_", " ") for word in words) if len(words) <= SHORT_WORDS else ()
