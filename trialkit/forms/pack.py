"""What is printed: a pack for each garden, and the adviser's own pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

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
from trialkit.tables.table_schema import load_schema
from trialkit.words.card_words import BEFORE_MIXING, card_words
from trialkit.words.care_words import SOURCES, BucketFacts, care_sections, drawing_labels
from trialkit.words.cautions import cautions_for
from trialkit.words.treatment_names import treatment_label

TEMPLATES = Path(__file__).parent / "templates"
BLANK_VISITS = 12
SHEET_DAYS = (1, 2, 3)
EXCEPTION = "if on another day"


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


Column = tuple[str, tuple[str, ...]]
"""A heading, and the words to tick below it; none where something is written."""


@dataclass(frozen=True)
class Sheet:
    """What is filled in by hand on one kind of day: headings, and for each row its keys."""

    title: str
    about: str
    day: Annotated[str, "What the one day at the top is of; empty where each row or column has its own."]
    keys: tuple[str, ...]
    columns: tuple[Column, ...]
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
    """Make the sheets in the order of the season: what is written down on one day stands on one of them."""
    each = [(bucket.bucket,) for bucket in buckets]
    heads = [(*key, str(head)) for key in each for head in range(1, trial.protocol.bucket.heads + 1)]
    told = [(bucket.bucket, safe_text(bucket.treatment)) for bucket in buckets]
    blind = trial.protocol.trial.blind
    card: tuple[Column, ...] = () if blind else (("As on the card", ("yes",)),)
    amounts = ("volume_l", "nutrient_tsp", "acid_tsp", "ph_before", "ph_after", "note")
    reading = [_column("solution", name, f", day {day}") for day in SHEET_DAYS for name in ("ph_before", "ec_ms_cm")]
    fates = [word.replace("_", " ") for word in load_schema("heads").field("outcome").enum or () if word != "harvested"]
    return (
        Sheet(
            "planting day",
            "A bucket's row is filled in only if it was planted on another day.",
            "Day on which all were planted",
            ("Bucket",),
            (_column("heads", "transplanted_on", f", {EXCEPTION}"), _column("heads", "note")),
            tuple(each),
        ),
        Sheet(
            "mixing or topping up",
            "What went into each bucket"
            + (
                ""
                if blind
                else ": a tick where it was what the card says, else the amounts; acid always, as the strip decides"
            )
            + ". A copy of this page is for another day.",
            "Day",
            ("Bucket",) if blind else ("Bucket", "On the card"),
            (*card, _column("solution", "measured_on", f", {EXCEPTION}"), *(_column("solution", n) for n in amounts)),
            tuple(each if blind else told),
        ),
        Sheet(
            "readings",
            "Strip and meter, before anything is added; the days go into the first row.",
            "",
            ("Bucket",),
            tuple(reading),
            (("Day",), *each),
        ),
        Sheet(
            "visits",
            load_schema("visits").description,
            "",
            ("Site",),
            tuple(_column("visits", name) for name in ("visited_on", "observer_role", "note")),
            ((site,),) * BLANK_VISITS,
        ),
        Sheet(
            "harvest",
            f"{load_schema('heads').field('weight_g').description.split(';')[0]}. A head with a weight was harvested; "
            f"write what became of one without: {', '.join(fates)}.",
            "Day",
            ("Bucket", "Head"),
            (
                _column("heads", "weight_g"),
                _column("heads", "marketable"),
                _column("heads", "harvested_on", f", {EXCEPTION}"),
                _column("heads", "outcome", ", if no weight"),
                _column("heads", "last_not_ready_on"),
                _column("heads", "note"),
            ),
            tuple(heads),
        ),
    )


def _column(table: TableName, name: str, after: str = "") -> Column:
    """Return the heading of a column, and its words to tick."""
    field = load_schema(table).field(name)
    words = (field.true_values[0], field.false_values[0]) if field.type == "boolean" else ()
    return f"{field.heading}{after}", words
