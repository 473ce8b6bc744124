"""Sample results of invented trials in the invented Larkmoor County, for the report's tests."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from itertools import product
from typing import Any

import numpy as np

from trialkit.words.treatments import treatment_words

COLUMNS = {"cultivar": "cultivar", "dose": "dose_tsp", "acidifier": "acidifier"}
LABELS = {"cultivar": ("cultivar", None), "dose": ("nutrient dose", "tsp"), "acidifier": ("acidifier", None)}
SITES = (
    ("fernhill", "Fernhill School", "school", "mains", 35.0, 6.0),
    ("oldmill", "Old Mill Library", "library", "mains", 110.0, 5.0),
    ("station", "Station Road Allotments", "allotment", "rain butt and mains", 165.0, 8.0),
    ("harbour", "Harbour Day Centre", "day centre", "mains", 240.0, 4.5),
)
FULL = {
    "cultivar": ("Larkmoor Butter", "Fenleaf"),
    "dose": (2, 4, 6, 8),
    "acidifier": ("white vinegar 5 %", "citric acid"),
}
CULTIVARS = ("Larkmoor Butter", "Fenleaf", "Copperfrill", "Paleheart", "Mossridge", "Tidewater")
VERDICTS = ("adopt", "keep current", "keep current, retest", "no practical difference: take the cheaper")
CULTIVAR_GAIN_G = dict(zip(CULTIVARS, (8.0, 0.0, -6.0, 3.0, -12.0, 5.0), strict=True))
DOSE_GAIN_G = {0: -60.0, 2: -34.0, 4: -14.0, 6: 8.0, 8: -3.0}
HEADS = 4


def full_results(seed: int = 20260820) -> dict[str, Any]:
    """Return results of 4 gardens x 3 blocks, cultivar 2 x dose 4 x acidifier 2."""
    return make_results(FULL, sites=4, blocks=3, seed=seed)


def variety_results() -> dict[str, Any]:
    """Return results of a variety trial: one factor only."""
    return make_results({"cultivar": CULTIVARS}, sites=4, blocks=3, seed=3, title="Six butterheads for autumn buckets")


def one_site_results() -> dict[str, Any]:
    """Return results of a trial at a single garden."""
    return make_results(FULL, sites=1, blocks=6, seed=4)


def cultivar_acid_results() -> dict[str, Any]:
    """Return results of a trial that did not vary the dose."""
    factors = {"cultivar": CULTIVARS[:3], "acidifier": FULL["acidifier"]}
    return make_results(factors, sites=3, blocks=3, seed=5, title="Cultivar and acid")


def split_plot_results() -> dict[str, Any]:
    """Return results of a split-plot of 3 cultivars x 4 doses in 6 blocks; days were not analysed."""
    factors = {"cultivar": CULTIVARS[:3], "dose": (0, 2, 4, 6)}
    results = make_results(factors, sites=1, blocks=6, seed=6, title="Three cultivars, four doses")
    results["design"] |= {"kind": "split-plot", "whole_plot": "cultivar"}
    return results


def volunteer_results() -> dict[str, Any]:
    """Return results of many small gardens."""
    return make_results({"cultivar": CULTIVARS}, sites=24, blocks=1, seed=7, title="Twenty-four gardens, six cultivars")


def null_results() -> dict[str, Any]:
    """Return results with every number that may be absent absent, in every other row."""
    results = full_results()
    for response in results["responses"].values():
        for name in ("means", "comparisons", "tests", "variances", "buckets", "site_means"):
            for row in (response.get(name) or [])[::2]:
                row.update({key: None for key, value in row.items() if isinstance(value, float)})
    for row in results["design"]["sites"]:
        row.update(alkalinity_mg_l_caco3=None, sun_hours=None, kind=None, water_source=None)
    results["trial"].update(season=None, started_on=None, contact_role=None)
    return results


def undecided_results() -> dict[str, Any]:
    """Return results without an answer: nothing could be analysed."""
    results = full_results()
    reason = "No head has this record."
    for name, response in results["responses"].items():
        results["responses"][name] = {key: response[key] for key in ("label", "unit")} | {
            "status": "not analysed",
            "reason": reason,
        }
    results |= {"decision": None, "no_decision": f"Head weight was not analysed. {reason}"}
    return results


HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)> $\\frac{1}{0}$ ]]> --> {{ 7*7 }}',
    "قرنبيط \u202etxt.exe شبكة",
    "N" * 500,
    "javascript:alert('x') http://evil.invalid/ &amp; \x00\x1b \ud800",
    "漢字の長い名前" * 12,
)


def hostile_results() -> dict[str, Any]:
    """Return results whose names were written by an attacker."""
    factors = {"cultivar": HOSTILE, "dose": (2, 4), "acidifier": HOSTILE[:2]}
    results = make_results(factors, sites=4, blocks=2, seed=8, title=HOSTILE[0] + HOSTILE[1])
    results["trial"] |= {"question": HOSTILE[1], "season": HOSTILE[2], "contact_role": HOSTILE[4]}
    for site, name in zip(results["design"]["sites"], HOSTILE, strict=False):
        site |= {"name": name, "kind": HOSTILE[0], "water_source": HOSTILE[3]}
    results["design"]["notes"] = list(HOSTILE)
    results["departures"] = list(HOSTILE)
    results["decision"] |= {"would_change": list(HOSTILE), "scope": list(HOSTILE), "sentences": list(HOSTILE[:2])}
    results["inputs"] = [{"file": HOSTILE[0], "sha256": HOSTILE[1]}]
    results["made_with"] |= {HOSTILE[0]: HOSTILE[1]}
    results["losses"]["statement"] = HOSTILE[0]
    results["responses"]["weight_g"]["checks"][0] |= {
        "title": HOSTILE[0],
        "finding": HOSTILE[1],
        "consequence": HOSTILE[2],
    }
    return results


def verdict_results(verdict: str) -> dict[str, Any]:
    """Return results that end in a verdict."""
    results = full_results()
    decision = results["decision"]
    if verdict.startswith("keep"):
        for candidate in decision["candidates"]:
            candidate["is_recommended"] = candidate["is_current"]
            candidate["probability_better"] *= 0.6 if "retest" in verdict else 0.05
        decision |= {"recommended": decision["current"]}
    decision |= {"verdict": verdict, "sentences": _sentences(verdict, decision["recommended"], decision["current"])}
    return results


def make_results(
    factors: Mapping[str, Sequence[Any]],
    *,
    sites: int,
    blocks: int,
    seed: int,
    title: str = "How much nutrient for autumn buckets?",
) -> dict[str, Any]:
    """Simulate a trial of every combination of the factors and summarise it roughly, in the shape of results.json."""
    rng = np.random.default_rng(seed)
    treatments = [
        {COLUMNS[name]: level for name, level in zip(factors, levels, strict=True)}
        for levels in product(*factors.values())
    ]
    places = [
        SITES[i] if i < len(SITES) else (f"g{i + 1:02d}", f"Garden {i + 1}", "home", "mains", 90.0, 6.0)
        for i in range(sites)
    ]
    weight = _response("head weight", "g", 172.0, 1.0, 9.0, treatments, places, blocks, rng)
    days = _response("days to harvest", "days", 38.0, -0.04, 1.4, treatments, places, blocks, rng)
    if sites == 1:
        days = {
            "label": "days to harvest",
            "unit": "days",
            "status": "not analysed",
            "reason": "Every head was cut on one day.",
        }
    buckets = len(treatments) * sites * blocks
    return {
        "schema": "trialkit-results-1",
        "trial": {
            "id": "autumn-dose",
            "title": title,
            "question": "How many level teaspoons of nutrient, which acid and which cultivar give the heaviest heads "
            "in lidded buckets?",
            "season": "autumn 2026",
            "started_on": "2026-08-20",
            "contact_role": "county horticulture adviser",
        },
        "made_with": {"trialkit": "0.1.0", "python": "3.11.7", "numpy": "2.4.6", "pandas": "3.1.1", "scipy": "1.17.1"},
        "inputs": [
            {"file": f"{name}", "sha256": hashlib.sha256(name.encode()).hexdigest()}
            for name in (
                "heads.csv",
                "layout.csv",
                "products.csv",
                "sites.csv",
                "solution.csv",
                "trial.toml",
                "visits.csv",
            )
        ],
        "seed": seed,
        "design": {
            "kind": "randomised complete blocks",
            "sites": [
                dict(
                    zip(("site", "name", "kind", "water_source", "alkalinity_mg_l_caco3", "sun_hours"), p, strict=True)
                )
                for p in places
            ],
            "blocks_per_site": blocks,
            "buckets": buckets,
            "heads_per_bucket": HEADS,
            "heads": buckets * HEADS,
            "volume_l": 20,
            "whole_plot": None,
            "factors": [
                {"name": n, "column": COLUMNS[n], "label": LABELS[n][0], "unit": LABELS[n][1], "levels": list(levels)}
                for n, levels in factors.items()
            ],
            "notes": ["Gardens are random: the answer is meant for other gardens like these."] if sites > 2 else [],
        },
        "losses": _losses(treatments, sites * blocks * HEADS, rng),
        "responses": {"weight_g": weight, "days": days},
        "decision": _decision(weight, treatments, rng),
        "no_decision": None,
    }


def _gain(treatment: Mapping[str, Any]) -> float:
    gain = CULTIVAR_GAIN_G.get(treatment.get("cultivar", ""), 0.0) + DOSE_GAIN_G.get(treatment.get("dose_tsp", 6), 0.0)
    return gain + (-7.0 if treatment.get("acidifier") == "citric acid" else 0.0)


def _response(
    label: str,
    unit: str,
    level: float,
    scale: float,
    noise: float,
    treatments: list[dict[str, Any]],
    places: Sequence[Sequence[Any]],
    blocks: int,
    rng: np.random.Generator,
) -> dict[str, Any]:
    buckets, number = [], 0
    for place in places:
        site_effect = rng.normal(0, noise * 1.2)
        for block in range(blocks):
            block_effect = rng.normal(0, noise * 0.5)
            for treatment in treatments:
                number += 1
                value = level + scale * _gain(treatment) + site_effect + block_effect + rng.normal(0, noise)
                heads = int(rng.choice([4, 4, 4, 3]))
                buckets.append(
                    {
                        "bucket": f"B{number:03d}",
                        "site": place[0],
                        "block": f"{block + 1}",
                        "treatment": treatment,
                        "mean": round(value, 3),
                        "heads": heads,
                    }
                )
    n = len(places) * blocks
    means = [_mean(t, buckets, noise * 1.6 / np.sqrt(n), n) for t in treatments]
    current = means[_current(treatments)]
    marginal = {}
    for column in treatments[0]:
        levels = list(dict.fromkeys(t[column] for t in treatments))
        marginal[column] = [
            {
                "level": level,
                **{
                    k: float(np.mean([m[k] for m in means if m["treatment"][column] == level]))
                    for k in ("mean", "se", "df", "lower", "upper")
                },
            }
            for level in levels
        ]
    return {
        "label": label,
        "unit": unit,
        "status": "analysed",
        "reason": None,
        "model": {
            "formula": "weight_g ~ " + " * ".join(treatments[0]),
            "random": ["site", "site:block", "bucket"],
            "bounds": "strata",
            "iterations": 9,
            "criterion": 5412.118,
            "observations": 4 * len(buckets) - 31,
            "buckets": len(buckets),
            "statements": ["Differences between gardens in how they respond to dose are part of the uncertainty."],
        },
        "variances": [
            {"term": "site", "label": "gardens", "variance": 1.4 * noise**2, "sd": 1.18 * noise, "statement": None},
            {
                "term": "site:block",
                "label": "blocks within gardens",
                "variance": 0.25 * noise**2,
                "sd": noise / 2,
                "statement": None,
            },
            {
                "term": "site:cultivar",
                "label": "cultivars within gardens",
                "variance": 0.0,
                "sd": None,
                "statement": "too small to measure",
            },
            {"term": "bucket", "label": "buckets", "variance": noise**2, "sd": noise, "statement": None},
            {
                "term": "residual",
                "label": "heads within buckets",
                "variance": 2.1 * noise**2,
                "sd": 1.45 * noise,
                "statement": None,
            },
        ],
        "tests": [
            {
                "term": c,
                "label": c.removesuffix("_tsp"),
                "f": 12.4 / (i + 1),
                "numerator_df": len(marginal[c]) - 1,
                "denominator_df": 164.98,
                "p": [0.00002, 0.0123, 0.43][i % 3],
            }
            for i, c in enumerate(marginal)
        ],
        "means": means,
        "marginal_means": marginal,
        "comparisons": [_comparison(m, current) for m in means if m is not current],
        "buckets": buckets,
        "site_means": [
            {
                "site": p[0],
                "treatment": t,
                "mean": float(np.mean([b["mean"] for b in buckets if b["site"] == p[0] and b["treatment"] == t])),
                "buckets": blocks,
            }
            for p in places
            for t in treatments
        ],
        "checks": [
            {
                "id": "replication",
                "title": "Enough replication",
                "finding": "Treatments are compared with 165.0 degrees of freedom for error.",
                "consequence": "The intervals can be trusted.",
                "ok": True,
            },
            {
                "id": "shape",
                "title": "Bucket-to-bucket variation is bell-shaped",
                "finding": "Shapiro-Wilk W = 0.991, p = 0.287 over 192 buckets.",
                "consequence": "Nothing to do.",
                "ok": True,
            },
            {
                "id": "spread",
                "title": "Gardens vary alike",
                "finding": "Standard deviations run from 7.1 to 12.9 (Levene p = 0.004).",
                "consequence": "Buckets at harbour vary most.",
                "ok": False,
            },
        ],
    }


def _mean(treatment: dict[str, Any], buckets: list[dict[str, Any]], se: float, n: int) -> dict[str, Any]:
    mean = float(np.mean([b["mean"] for b in buckets if b["treatment"] == treatment]))
    lower, upper = mean - 2.1 * se, mean + 2.1 * se
    return {
        "treatment": treatment,
        "mean": mean,
        "se": se,
        "df": 9.73,
        "lower": lower,
        "upper": upper,
        "buckets": n,
        "heads": 4 * n,
    }


def _comparison(mean: dict[str, Any], current: dict[str, Any]) -> dict[str, Any]:
    difference, se = mean["mean"] - current["mean"], 1.1 * mean["se"]
    p = float(np.exp(-0.5 * (difference / se) ** 2))
    return {
        "treatment": mean["treatment"],
        "difference": difference,
        "se": se,
        "df": 164.98,
        "lower": difference - 2.8 * se,
        "upper": difference + 2.8 * se,
        "p": p,
    }


def _current(treatments: list[dict[str, Any]]) -> int:
    return next((i for i, t in enumerate(treatments) if t.get("dose_tsp") == 4), 1)


def _losses(treatments: list[dict[str, Any]], planned: int, rng: np.random.Generator) -> dict[str, Any]:
    lost = rng.integers(0, 4, len(treatments)).tolist()
    total, gone = planned * len(treatments), sum(lost)
    return {
        "heads": _head_counts(total, gone),
        "recorded": total,
        "dead": gone // 2,
        "bolted": gone // 4,
        "missing": gone - gone // 2 - gone // 4,
        "by_treatment": [
            {"treatment": t, "heads": _head_counts(planned, n), "share_usable": 1 - n / planned}
            for t, n in zip(treatments, lost, strict=True)
        ],
        "by_site": [],
        "statement": f"{total - gone} of {total} planned heads were harvested and {gone} were lost.",
    }


def _head_counts(planned: int, lost: int) -> dict[str, int]:
    return {
        "planned": planned,
        "harvested": planned - lost,
        "lost": lost,
        "not_ready": 0,
        "unrecorded": 0,
        "unmarketable": 0,
    }


def _decision(weight: dict[str, Any], treatments: list[dict[str, Any]], rng: np.random.Generator) -> dict[str, Any]:
    mean = np.array([m["mean"] for m in weight["means"]])
    se = weight["means"][0]["se"]
    draws = mean + se * rng.normal(size=(4000, len(mean)))
    current, chosen = _current(treatments), int(mean.argmax())
    gain = draws - draws[:, [current]]
    candidates = [
        {
            "treatment": t,
            "mean_weight_g": float(mean[i]),
            "expected_value": float(mean[i]),
            "probability_best": float((draws.argmax(1) == i).mean()),
            "probability_better": float((gain[:, i] > 10).mean()),
            "probability_equivalent": float((abs(gain[:, i]) < 10).mean()),
            "expected_loss": float((draws.max(1) - draws[:, i]).mean()),
            "share_usable": 1.0,
            "share_unrecorded": 0.0,
            "eligible": True,
            "is_current": i == current,
            "is_recommended": i == chosen,
        }
        for i, t in enumerate(treatments)
    ]
    best = candidates[chosen]
    return {
        "unit": "g a planted head",
        "place": "in a new garden of this programme",
        "current": treatments[current],
        "recommended": treatments[chosen],
        "alternative": treatments[chosen],
        "verdict": "adopt",
        "sentences": _sentences(
            "adopt",
            treatments[chosen],
            treatments[current],
            float(mean[chosen] - mean[current]),
            best["probability_better"],
        ),
        "thresholds": {
            "margin_g": 10.0,
            "equivalence_margin_g": 10.0,
            "adopt_probability": 0.9,
            "confidence": 0.95,
            "price_per_kg": None,
            "cost_per_bucket": 0.0,
            "delay_cost_per_day": 0.0,
        },
        "candidates": candidates,
        "would_change": [
            "A further season in which its chance of gaining 10 g a head fell below 90 in 100.",
            "A garden unlike these (water, sun, season) where it did worse than the current practice.",
        ],
        "scope": [
            "Nothing is recommended outside the treatments tried.",
            "Weights are of the heads that were harvested.",
            "One season is one season: water, heat and light differ in the next.",
        ],
        "draws": 20000,
    }


def _sentences(
    verdict: str, chosen: Mapping[str, Any], current: Mapping[str, Any], gain_g: float = 0.0, chance: float = 0.06
) -> list[str]:
    """Return two sentences in the manner of the analysis."""
    new, practice = treatment_words(chosen), treatment_words(current)
    first = {
        "adopt": f"Change the default to {new}: heads weighed {gain_g:.0f} g more than with {practice}.",
        "keep current": f"Keep the current default, {practice}.",
        "keep current, retest": f"Keep the current default, {practice}, for now: the trial has not settled it.",
    }.get(verdict, f"Change the default to {new}, which costs less and does as well as {practice}.")
    return [
        first,
        "The chance that it is worth at least 10 g a head more in a new garden of this programme is "
        f"{100 * chance:.0f} in 100, going by the buckets of autumn 2026.",
    ]
