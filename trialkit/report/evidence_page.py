"""`evidence_html`: what all trials of a ledger say together, as one page that needs nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from trialkit.pages.cautions import CAUTIONS
from trialkit.pages.numerals import difference_interval, measure, p_value, percent, plain, signed
from trialkit.pages.safe_text import safe_results
from trialkit.pages.shell import content_security_policy, environment, page_script, page_style
from trialkit.pages.table import Row, Table, columns, make_table, text_column
from trialkit.report.figures.evidence import evidence_pictures
from trialkit.report.page import TEMPLATES
from trialkit.report.reading import Json, mapping, rows, texts
from trialkit.words.phrases import count
from trialkit.words.treatments import treatment_label

ORDER = ("cultivar", "dose_tsp", "acidifier")


def evidence_html(document: Mapping[str, Any]) -> str:
    """Write pooled evidence as one self-contained HTML page.

    Parameters
    ----------
    document : Mapping
        As ``recommended.json``. Every text in it may come from strangers.
    """
    safe = mapping(safe_results(document))
    style, script = page_style(), page_script()
    thresholds = mapping(mapping(safe.get("decision")).get("thresholds"))
    confidence = float(thresholds.get("confidence") or 0.95)
    return (
        environment(TEMPLATES)
        .get_template("evidence.html.jinja")
        .render(
            sentences=texts(safe, "sentences"),
            verdict=safe.get("verdict"),
            facts=_facts(safe),
            heterogeneity=mapping(safe.get("together")).get("heterogeneity") or "",
            notes=texts(safe, "notes"),
            refused=texts(safe, "refused"),
            changed=texts(mapping(safe.get("changed")), "sentences"),
            would_change=texts(safe, "would_change"),
            next_trial=mapping(safe.get("next_trial")),
            next_size=_size(mapping(mapping(safe.get("next_trial")).get("size"))),
            pictures=evidence_pictures(safe, confidence),
            compared=_compared(safe, confidence),
            trials=_trials(safe),
            variation=_variation(safe),
            version=safe.get("version"),
            date=safe.get("date"),
            digest=safe.get("evidence_sha256"),
            made_with=mapping(safe.get("made_with")).get("trialkit"),
            cautions=CAUTIONS,
            style=style,
            script=script,
            policy=content_security_policy(style, script),
        )
    )


def _facts(safe: Json) -> tuple[str, ...]:
    evidence = rows(safe, "evidence")
    buckets, heads = (sum(int(one.get(name) or 0) for one in evidence) for name in ("buckets", "heads"))
    return (
        count(len(evidence), "trial"),
        count(buckets, "bucket"),
        count(heads, "head"),
        f"version {safe.get('version')}",
    )


def _size(size: Json) -> str:
    if not size:
        return ""
    what = f"{size['gardens']} gardens with {size['blocks']} blocks of the two, {size['buckets']} buckets in all"
    if not size.get("reached"):
        return f"Even {what} would find {plain(size['margin_g'])} g with a chance of {percent(size['power'])} only."
    margin, power = plain(size["margin_g"]), percent(size["power"])
    return f"It takes {what}, to find a difference of {margin} g with a chance of {power}."


def _compared(safe: Json, confidence: float) -> Table | None:
    current = mapping(safe.get("current"))
    body = (
        Row(
            treatment_label(mapping(row.get("treatment")), ORDER),
            (
                plain(row.get("n_mg_l"), 4),
                measure(row.get("mean")),
                "" if row.get("difference") is None else signed(row.get("difference")),
                "" if row.get("difference") is None else difference_interval(row.get("lower"), row.get("upper")),
                "" if row.get("difference") is None else p_value(row.get("p")),
                str(row.get("buckets")),
                f"{row.get('beside')} of {row.get('trials')}",
            ),
            "current practice" if row.get("difference") is None and current else "",
        )
        for row in rows(safe, "compared")
    )
    heads = columns(
        "treatment",
        "nitrogen, mg/L",
        "mean, g a planted head",
        "less the current practice, g",
        f"{percent(confidence)} interval, g",
        "p",
        "buckets",
        "trials beside it",
    )
    note = (
        "Means of the pooled model; intervals and p allow for all comparisons (Dunnett). Trials beside it: of those "
        "that tried the treatment, how many had the current practice too; where none had, it is compared over others."
    )
    return make_table("compared", "Every treatment beside the current practice", heads, body, note)


def _trials(safe: Json) -> Table | None:
    body = (
        Row(
            str(one.get("trial")),
            (
                str(one.get("season") or ""),
                str(one.get("gardens")),
                str(one.get("buckets")),
                str(one.get("heads")),
                "" if one.get("gain") is None else signed(one.get("gain")),
                str(one.get("id")),
            ),
        )
        for one in rows(safe, "evidence")
    )
    heads = (
        text_column("trial"),
        text_column("season"),
        *columns("", "gardens", "buckets", "heads", "its own gain, g")[1:],
        text_column("digest"),
    )
    return make_table("trials", "The trials that this rests on", heads, body)


def _variation(safe: Json) -> Table | None:
    body = (Row(str(one.get("label")), (measure(one.get("sd_g")),)) for one in rows(safe, "variation"))
    heads = columns("differences between", "standard deviation, g a planted head")
    return make_table("variation", "How much things vary", heads, body)
