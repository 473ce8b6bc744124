"""`evidence_html`: what all trials of a ledger say together, as one page that needs nothing else."""

from __future__ import annotations

from trialkit.documents.recommended import Recommended
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.pages.cautions import CAUTIONS
from trialkit.pages.numerals import difference_interval, measure, p_value, percent, plain, signed
from trialkit.pages.safe_text import safe_document
from trialkit.pages.shell import content_security_policy, environment, page_script, page_style
from trialkit.pages.table import Row, Table, columns, make_table, text_column
from trialkit.report.figures.evidence import evidence_pictures
from trialkit.report.page import TEMPLATES
from trialkit.words import default_words as words
from trialkit.words.phrases import count
from trialkit.words.treatment_names import treatment_label


def evidence_html(document: Recommended) -> str:
    """Write pooled evidence as one self-contained HTML page.

    Parameters
    ----------
    document : Recommended
        Every text in it may come from strangers.
    """
    safe = safe_document(document)
    style, script = page_style(), page_script()
    confidence = safe.decision.thresholds.confidence
    return (
        environment(TEMPLATES)
        .get_template("evidence.html.jinja")
        .render(
            sentences=words.answer(safe),
            facts=_facts(safe),
            heterogeneity=words.heterogeneity(safe.trial_gains) if safe.trial_gains else "",
            notes=tuple(words.what_is_not_known(safe)),
            refused=tuple(words.not_compared(safe)),
            changed=tuple(words.changes(safe)),
            would_change=words.what_would_change_it(safe),
            next_question=words.next_question(safe),
            why_next=words.why_next(safe),
            next_size=words.next_size(safe.next_trial.size),
            pictures=evidence_pictures(safe, confidence),
            compared=_compared(safe, confidence),
            trials=_trials(safe),
            variation=_variation(safe),
            date=safe.date,
            digest=safe.evidence_sha256,
            made_with=safe.made_with["trialkit"],
            cautions=CAUTIONS,
            style=style,
            script=script,
            policy=content_security_policy(style, script),
        )
    )


def _facts(safe: Recommended) -> tuple[str, ...]:
    return (
        count(len(safe.evidence), "trial"),
        count(sum(one.buckets for one in safe.evidence), "bucket"),
        count(sum(one.heads for one in safe.evidence), "head"),
        f"version {safe.version}",
    )


def _compared(safe: Recommended, confidence: float) -> Table | None:
    body = (
        Row(
            treatment_label(row.treatment, tuple(FACTOR_COLUMNS.values())),
            (
                plain(row.n_mg_l, 4),
                measure(row.mean),
                *(
                    ("", "", "")
                    if row.difference is None
                    else (signed(row.difference), difference_interval(row.lower, row.upper), p_value(row.p))
                ),
                str(row.buckets),
                f"{row.with_current} of {row.trials}",
            ),
            "current practice" if row.difference is None else "",
        )
        for row in safe.compared
    )
    heads = columns(
        "treatment",
        "nitrogen, mg/L",
        "mean, g per transplanted head",
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


def _trials(safe: Recommended) -> Table | None:
    body = (
        Row(
            one.trial,
            (
                one.season,
                str(one.gardens),
                str(one.buckets),
                str(one.heads),
                "" if one.gain is None else signed(one.gain),
                one.id,
            ),
        )
        for one in safe.evidence
    )
    heads = (
        text_column("trial"),
        text_column("season"),
        *columns("", "gardens", "buckets", "heads", "its own gain, g")[1:],
        text_column("digest"),
    )
    return make_table("trials", "The trials that this rests on", heads, body)


def _variation(safe: Recommended) -> Table | None:
    body = (Row(words.variation_between(one), (measure(one.sd_g),)) for one in safe.variation)
    heads = columns("differences between", "standard deviation, g per transplanted head")
    return make_table("variation", "How much things vary", heads, body)
