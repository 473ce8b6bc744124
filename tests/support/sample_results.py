"""Results for the report's tests: of trials of the invented county, analysed once, and variants of their values."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass, replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from oats_trial import write_oats_trial
from small_trial import FACTORS, small_trial
from trialkit.analysis import analyse
from trialkit.documents.decision import Decision, NoDecision, Verdict
from trialkit.documents.departures import Departure
from trialkit.documents.document import as_written
from trialkit.documents.findings import NotAnalysed, Note, OutlierCheck, ResponseResult
from trialkit.documents.results import Amendment, InputFile, Results
from trialkit.documents.returns import Correction
from trialkit.documents.water import RecordedWater
from trialkit.rules.trial_folder import read_trial

HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)> $\\frac{1}{0}$ ]]> --> {{ 7*7 }}',
    "قرنبيط \u202etxt.exe شبكة",
    "N" * 500,
    "javascript:alert('x') http://evil.invalid/ &amp; \x00\x1b \ud800",
    "漢字の長い名前" * 12,
)


def small_results(**size: Any) -> Callable[[], Results]:
    """Return a maker of results of a small trial."""

    def make() -> Results:
        with TemporaryDirectory() as folder:
            return as_written(small_trial(Path(folder), **size))

    return make


def split_plot_results() -> Results:
    """Return results of a split-plot of 3 cultivars x 4 doses in 6 blocks; days were fixed by the plan."""
    with TemporaryDirectory() as folder:
        write_oats_trial(Path(folder))
        return as_written(analyse(read_trial(Path(folder))))


def bare_results(varied: Results) -> Results:
    """Return results with everything absent that may be absent."""
    trial = replace(varied.trial, season="", started_on=None, contact_role="")
    sites = tuple(replace(site, name=None, kind=None, water_source=None, alkalinity_mg_l_caco3=None, sun_hours=None)
                  for site in varied.design.sites)  # fmt: skip
    losses = replace(
        varied.losses,
        by_treatment=tuple(
            replace(row, share_usable=None, usable=None, against_current=None) for row in varied.losses.by_treatment
        ),
        by_factor=(),
        treatments_vary=False,
    )
    candidates = tuple(replace(row, n_mg_l=None) for row in decision_of(varied).candidates)
    return replace(
        varied,
        trial=trial,
        design=replace(varied.design, sites=sites, acid_used=()),
        losses=losses,
        water=RecordedWater(None, (), (), (), ()),
        responses={name: _bare_response(response) for name, response in varied.responses.items()},
        decision=replace(
            decision_of(varied), candidates=candidates, dose=None, spreads=(), days_later=None, cautions=()
        ),
    )


def _bare_response(response: ResponseResult) -> ResponseResult:
    return replace(
        response,
        model=response.model and replace(response.model, criterion=None, notes=(), partly_tested=()),
        variances=tuple(replace(row, sd=None) for row in response.variances),
        means=tuple(replace(row, new_garden=None) for row in response.means),
        comparisons=tuple(
            replace(row, probability_of_superiority=None, equivalence=None) for row in response.comparisons
        ),
        tests=(),
        checks=(),
        diagnostics=None,
        gardens=None,
    )


def undecided_results(varied: Results) -> Results:
    """Return results without an answer: nothing could be analysed."""
    return replace(
        varied,
        responses={
            name: ResponseResult(response.name, response.unit, "not analysed", NotAnalysed("no_record"))
            for name, response in varied.responses.items()
        },
        decision=None,
        no_decision=NoDecision("nothing_usable"),
    )


def days_only_results(varied: Results) -> Results:
    """Return results of which days alone have an answer."""
    undecided = undecided_results(varied)
    return replace(undecided, responses=undecided.responses | {"days": varied.responses["days"]})


def verdict_results(verdict: Verdict, varied: Results) -> Results:
    """Return results that end in a verdict; where the practice is kept, its rival is what else had been recommended."""
    decision = decision_of(varied)
    chosen = decision.alternative if verdict.changes else decision.current
    decision = replace(
        decision,
        verdict=verdict,
        recommended=chosen,
        candidates=tuple(replace(row, is_recommended=row.treatment == chosen) for row in decision.candidates),
    )
    return replace(varied, decision=decision)


def decision_of(results: Results) -> Decision:
    """Return the decision of results that have one."""
    assert results.decision is not None
    return results.decision


def hostile_results() -> Results:
    """Return results whose names and sentences were written by an attacker."""
    results = small_results(cultivars=6, doses=2, acidifiers=2, sites=2, blocks=2, heads=1)()
    names = dict(zip(FACTORS["cultivar"][1], HOSTILE, strict=True))
    names |= dict(zip(FACTORS["acidifier"][1], HOSTILE, strict=False))
    names |= {"Garden 1": HOSTILE[2], "Garden 2": HOSTILE[5], "garden": HOSTILE[0], "mains": HOSTILE[3]}
    names |= {"Blend L": HOSTILE[1], "A small trial": HOSTILE[0] + HOSTILE[1], "Which?": HOSTILE[1]}
    renamed: Results = _renamed(results, names)
    weight = renamed.responses["weight_g"]
    assert weight.model is not None
    noted = replace(weight.model, notes=tuple(Note("garden_failed", site=name) for name in HOSTILE))
    outlier = OutlierCheck(ok=False, bucket=HOSTILE[0], site=HOSTILE[1], residual=90.0, p=0.001)
    return replace(
        renamed,
        trial=replace(renamed.trial, season=HOSTILE[2], contact_role=HOSTILE[4]),
        decision=replace(
            decision_of(renamed),
            spreads=decision_of(results).spreads,  # what a standard deviation is of is no name
            evidence=replace(decision_of(renamed).evidence, seasons=(HOSTILE[1],), failed_gardens=HOSTILE),
            cautions=("shape",),
        ),
        amendments=(Amendment(2, HOSTILE[0], HOSTILE[1], "joined", 3, HOSTILE[2]),),
        departures=(Departure(HOSTILE[0], HOSTILE[1], "acid", HOSTILE[2], HOSTILE[3], None, HOSTILE[4], HOSTILE[5]),),
        corrections=(Correction("heads", (HOSTILE[0], "1"), "note", HOSTILE[1], "", *HOSTILE[2:5]),),
        inputs=(InputFile(HOSTILE[0], HOSTILE[1]),),
        made_with=renamed.made_with | {HOSTILE[0]: HOSTILE[1]},
        responses=renamed.responses | {"weight_g": replace(weight, model=noted, checks=(outlier, *weight.checks))},
    )


def _renamed(value: Any, names: Mapping[str, str]) -> Any:
    """Copy a document with some of its texts replaced."""
    if isinstance(value, str):
        return names.get(value, value)
    if isinstance(value, tuple):
        return tuple(_renamed(item, names) for item in value)
    if isinstance(value, dict):
        return {key: _renamed(item, names) for key, item in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{field.name: _renamed(getattr(value, field.name), names) for field in fields(value)})
    return value


BUNDLED = {
    "full": "autumn_dose",  # 4 gardens x 3 blocks, cultivar 2 x dose 4 x acidifier 2
    "volunteers": "volunteer_cultivars",
}
"""Trials that trialkit comes with."""
ANALYSED: Mapping[str, Callable[[], Results]] = {
    "variety": small_results(cultivars=6, sites=4),
    "one site": small_results(cultivars=2, doses=4, acidifiers=2),
    "cultivar and acid": small_results(cultivars=3, acidifiers=2, sites=3),
    "split plot": split_plot_results,
    "hostile": hostile_results,
}
"""Trials laid out, drawn and analysed for the tests."""
VARIED = small_results(cultivars=2, doses=3, acidifiers=2, sites=3, blocks=2)
VARIANTS: Mapping[str, Callable[[Results], Results]] = {
    "bare": bare_results,
    "undecided": undecided_results,
    "days only": days_only_results,
} | {verdict: partial(verdict_results, verdict) for verdict in Verdict}
"""Made of the results of one more trial by changing values."""
NAMES = (*BUNDLED, *ANALYSED, *VARIANTS)
