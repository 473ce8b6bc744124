"""The phone form of a garden, in its language: one HTML file that works without a network and hands back one file."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from trialkit.domain.heads import CUT, NOT_CUT, SAYS_NOTHING
from trialkit.domain.table_names import RECORD_TABLES
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.domain.units import OUNCE_G
from trialkit.forms.garden_buckets import NamedBucket, buckets_of_garden, garden_name, same_in_all
from trialkit.languages import gettext, speaking
from trialkit.pages.safe_text import safe_document
from trialkit.pages.script_words import script_words
from trialkit.pages.shell import page_style, render_page
from trialkit.rules.form_marks import form_marks
from trialkit.rules.pattern_rules import MOST_GRAMS_A_DAY
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.tables.bucket_ids import BETWEEN
from trialkit.tables.table_schema import Field, load_schema
from trialkit.words.cautions import cautions_for
from trialkit.words.problem_words import accepted_words

TEMPLATES = Path(__file__).parent / "templates"
FORMAT = "trialkit-phone-1"
# In an application/json block nothing runs, but "</script" would end it and "<!--" could swallow what follows.
ESCAPED_IN_SCRIPT = str.maketrans(
    {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "\u2028": "\\u2028", "\u2029": "\\u2029"}
)


def phone_form(trial: CheckedTrial, site: str) -> str:
    """Write the phone form of one garden, in its language.

    It is a self-contained page; the same for the same trial. A blind trial's names no treatment anywhere.

    Raises
    ------
    WrongCall
        If the trial has no such garden, or it has no buckets.
    """
    with speaking(trial.language_of(site)):
        return _page(trial, site)


@cache
def phone_script() -> str:
    """Script of every form for a phone."""
    return (TEMPLATES / "phone.js").read_text(encoding="utf-8")


def _page(trial: CheckedTrial, site: str) -> str:
    script = phone_script()
    columns = [field for name in RECORD_TABLES for field in load_schema(name).on_forms]
    listed = [value.replace("_", " ") for field in columns for value in field.listed]
    data = safe_document(_data(trial, site)) | script_words(script, listed)
    return render_page(
        TEMPLATES,
        "phone.html.jinja",
        page_style() + (TEMPLATES / "phone.css").read_text(encoding="utf-8"),
        script,
        title=data["title"],
        garden=data["garden"],
        same=safe_document(list(same_in_all(trial).sentences)),
        blind=trial.protocol.trial.blind,
        data=json.dumps(data, ensure_ascii=False, separators=(",", ":")).translate(ESCAPED_IN_SCRIPT),
        cautions=cautions_for("phone form", trial.protocol.bucket.volume_l, trial.protocol.trial.measures),
    )


def _data(trial: CheckedTrial, site: str) -> dict[str, Any]:
    """Everything that the script needs to know."""
    marks = form_marks(trial, site)
    return {
        "format": FORMAT,
        "trial": marks.trial,
        "layout": marks.layout,
        "form": marks.form,
        "site": site,
        "title": trial.protocol.trial.title,
        "garden": garden_name(trial, site),
        "heads": trial.protocol.bucket.heads,
        "between": BETWEEN,
        "cut": CUT,
        "notCut": NOT_CUT,
        "saysNothing": [outcome for outcome in SAYS_NOTHING if outcome],
        "unit": "oz" if trial.protocol.trial.measures == "kitchen" else "g",
        "gramsInAnOunce": OUNCE_G,
        "mostGramsADay": MOST_GRAMS_A_DAY,
        "buckets": [_bucket(bucket, trial) for bucket in buckets_of_garden(trial, site)],
        "tables": {name: [_field(field) for field in load_schema(name).on_forms] for name in RECORD_TABLES},
    }


def _bucket(bucket: NamedBucket, trial: CheckedTrial) -> dict[str, Any]:
    """Return what the form knows of a bucket; of a blind trial's, not what goes into it."""
    told = {"id": bucket.bucket, "place": bucket.place}
    if trial.protocol.trial.blind:
        return told
    treatment = bucket.assigned
    has_acid = treatment.acidifier not in (None, NO_PRODUCT)
    card = {
        "volume_l": trial.protocol.bucket.volume_l,
        "nutrient_tsp": treatment.dose_tsp,
        "acid_tsp": 0.0 if treatment.acidifier == NO_PRODUCT else None,
    }
    return (
        told
        | ({"what": bucket.treatment} if bucket.treatment else {})
        | {"card": {name: f"{amount:g}" for name, amount in card.items() if amount is not None}}
        | ({"acid": treatment.acidifier} if has_acid else {})
    )


def _field(field: Field) -> dict[str, Any]:
    """Return what the form has to know of a column, and nothing that is not set."""
    told = {
        "name": field.name,
        "type": field.type,
        "title": gettext(field.title),
        "description": gettext(field.description),
        "unit": field.unit_words,
        "required": field.required or field.wanted or None,
        "minimum": field.minimum,
        "maximum": field.maximum,
        "usualMinimum": field.usual_minimum,
        "usualMaximum": field.usual_maximum,
        "enum": list(field.enum) if field.enum else None,
        "pattern": field.pattern,
        "maxLength": field.max_length,
        "words": [field.true_values[0], field.false_values[0]] if field.type == "boolean" else None,
        "expected": accepted_words(field),
    }
    return {key: value for key, value in told.items() if value is not None}
