"""The results of a trial on one screen of a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from trialkit.pages.numerals import chance_percent
from trialkit.words.phrases import number
from trialkit.words.treatments import treatment_label, treatment_words

WIDTH = 80
LINES = 24
MOST_MEANS = 5


def summary(document: Mapping[str, Any]) -> str:
    """Say what to do, how sure, what to mind, and the figures behind it, in 24 lines of 80 columns.

    Parameters
    ----------
    document : mapping
        Content of ``results.json``.
    """
    decision = document["decision"]
    said = [*decision["sentences"]] if decision else [f"No recommendation. {document['no_decision']}"]
    words = [line for text in said for line in _wrapped(text)]
    tail = [*_means(document), *_doses(document), *_days(document), *_losses(document), *_checks(document)]
    room = LINES - len(words) - len(tail) - 1
    cautions = [line for text in (decision or {}).get("cautions", ()) for line in _wrapped(f"But mind: {text}", "  ")]
    if len(cautions) > room:
        cautions = [*cautions[: max(room - 1, 0)], "  (more in the report)"]
    return "\n".join([*words, *cautions, "", *tail])


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent, break_on_hyphens=False)


def _clipped(text: str) -> str:
    return text if len(text) <= WIDTH else f"{text[: WIDTH - 1]}…"


def _means(document: Mapping[str, Any]) -> Iterator[str]:
    """The best candidates and the current practice: yield, its chance of being better, what it gives up."""
    decision = document["decision"]
    if not decision:
        return
    ranked: Sequence[Mapping[str, Any]] = sorted(decision["candidates"], key=lambda row: -row["expected_value"])
    shown = ranked[:MOST_MEANS]
    shown = [*shown, *(row for row in ranked if row["is_current"] and row not in shown)]
    yield f"{'g a planted head':>16}  {'better':>6}  {'gives up':>8}  treatment"
    for row in shown:
        better, loss = row["probability_better"], row["expected_loss"]
        mark = " (current)" if row["is_current"] else " (recommended)" if row["is_recommended"] else ""
        chance = "" if better is None else chance_percent(better)
        given_up = "" if loss is None else number(loss, 2)
        name = treatment_label(row["treatment"], tuple(row["treatment"]))
        yield _clipped(f"{row['yield_g']:16.0f}  {chance:>6}  {given_up:>8}  {name}{mark}")
    left = len(ranked) - len(shown)
    if left:
        yield _clipped(f"{'':34}  and {left} more; gives up in {decision['unit']}")


def _doses(document: Mapping[str, Any]) -> Iterator[str]:
    dose = document["responses"].get("bucket_weight_g", {}).get("dose")
    for group in (dose or {}).get("groups", ()):
        for found in group["recommended"][:1]:
            whose = f" for {treatment_words(group['treatment'])}" if group["treatment"] else ""
            yield _clipped(
                f"Dose that is enough{whose}: {number(found['dose_tsp'], 2)} teaspoons a bucket "
                f"({number(found['lower_tsp'], 2)} to {number(found['upper_tsp'], 2)})"
            )


def _days(document: Mapping[str, Any]) -> Iterator[str]:
    days = document["responses"].get("days", {})
    if days.get("status") != "analysed":
        yield _clipped(f"Days to harvest: not analysed. {days.get('reason') or ''}")
        return
    means = [row["mean"] for row in days["means"]]
    yield f"Days to harvest: {number(min(means))} to {number(max(means))} by treatment"


def _losses(document: Mapping[str, Any]) -> Iterator[str]:
    losses = document["losses"]
    heads = losses["heads"]
    yield _clipped(
        f"Heads: {heads['planned']} planned, {heads['harvested']} harvested, {heads['lost']} lost, "
        f"{heads['not_ready']} not ready, {heads['unrecorded']} without a record"
    )


def _checks(document: Mapping[str, Any]) -> Iterator[str]:
    found = [check for response in document["responses"].values() for check in response["checks"]]
    doubtful = list(dict.fromkeys(check["title"].lower() for check in found if not check["ok"]))
    yield _clipped(f"Checks: {len(found)}, in doubt: {', '.join(doubtful) or 'none'}")
