"""The phone form of a garden: one HTML file that works without a network and hands back one file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from trialkit.domain.table_names import RECORD_TABLES
from trialkit.forms.garden_buckets import NamedBucket, buckets_of_garden, garden_name
from trialkit.pages.safe_text import safe_document
from trialkit.pages.shell import page_style, render_page
from trialkit.rules.form_marks import form_marks
from trialkit.rules.trial_folder import Trial
from trialkit.tables.table_schema import Field, load_schema
from trialkit.words.cautions import cautions_for
from trialkit.words.problem_words import accepted_words

TEMPLATES = Path(__file__).parent / "templates"
FORMAT = "trialkit-phone-1"
# In an application/json block nothing runs, but "</script" would end it and "<!--" could swallow what follows.
ESCAPED_IN_SCRIPT = str.maketrans(
    {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "\u2028": "\\u2028", "\u2029": "\\u2029"}
)


def phone_form(trial: Trial, site: str) -> str:
    """Write the phone form of one garden.

    It is a self-contained page; the same for the same trial. A blind trial's names no treatment anywhere.

    Raises
    ------
    WrongCall
        If the trial has no such garden, or it has no buckets.
    """
    data = safe_document(_data(trial, site))
    return render_page(
        TEMPLATES,
        "phone.html.jinja",
        page_style() + (TEMPLATES / "phone.css").read_text(encoding="utf-8"),
        (TEMPLATES / "phone.js").read_text(encoding="utf-8"),
        title=data["title"],
        garden=data["garden"],
        data=json.dumps(data, ensure_ascii=False, separators=(",", ":")).translate(ESCAPED_IN_SCRIPT),
        cautions=cautions_for("phone form", trial.protocol.bucket.volume_l, trial.protocol.trial.measures),
    )


def _data(trial: Trial, site: str) -> dict[str, Any]:
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
        "buckets": [_bucket(bucket) for bucket in buckets_of_garden(trial, site)],
        "tables": {name: [_field(field) for field in load_schema(name).fields] for name in RECORD_TABLES},
    }


def _bucket(bucket: NamedBucket) -> dict[str, str]:
    what = {"what": bucket.treatment} if bucket.treatment else {}
    return {"id": bucket.bucket, "place": bucket.place} | what


def _field(field: Field) -> dict[str, Any]:
    """Return what the form has to know of a column, and nothing that is not set."""
    told = {
        "name": field.name,
        "type": field.type,
        "title": field.title,
        "description": field.description,
        "unit": field.unit if field.unit and "[" not in field.unit else None,
        "required": field.required or None,
        "minimum": field.minimum,
        "maximum": field.maximum,
        "enum": list(field.enum) if field.enum else None,
        "pattern": field.pattern,
        "maxLength": field.max_length,
        "words": [field.true_values[0], field.false_values[0]] if field.type == "boolean" else None,
        "expected": accepted_words(field),
    }
    return {key: value for key, value in told.items() if value is not None}
