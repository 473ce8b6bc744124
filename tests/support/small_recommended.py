"""Recommended defaults of an invented county, as recommended.json has them."""

from __future__ import annotations

from typing import Any

NEW = {"cultivar": "Fenleaf", "dose_tsp": 8.0, "acidifier": "white vinegar 5 %"}
OLD = {"cultivar": "Larkmoor Butter", "dose_tsp": 6.0, "acidifier": "white vinegar 5 %"}


def small_recommended() -> dict[str, Any]:
    """Return a fresh document: a change of default after three trials and older means."""
    place = {"product": "Blend L 9-12-30", "volume_l": 20.0, "heads": 4}
    seasons = ("autumn 2026", "spring 2027", "summer 2027")
    gains = [
        {"name": f"trial-{i}", "season": season, "gain": gain, "se": 7.8, "gardens": 4, "citation": ""}
        for i, (season, gain) in enumerate(zip(seasons, (31.3, 29.5, 18.0), strict=True))
    ]
    step = {"gain": 30.4, "lower": 12.0, "upper": 48.0}
    classes = [
        {"name": name, "units": int(gardens > 0), "gardens": gardens, "own": 31.0 if gardens else None,
         "own_se": 11.0 if gardens else None, "gain": 30.4, "lower": 6.6, "upper": 54.2, "borrowed": 0.8}
        for name, gardens in (("low", 2), ("medium", 0))
    ]  # fmt: skip
    return {
        "schema": "trialkit-recommended-1",
        "version": 2,
        "date": "2027-09-01",
        "evidence_sha256": "3547021f8e6a248f57bdecade9bcf9ab" * 2,
        "made_with": {"trialkit": "0.1.0"},
        "recommended": {**NEW, "n_mg_l": 180.0, **place},
        "current": {**OLD, "n_mg_l": 135.0, **place},
        "alternative": NEW,
        "verdict": "adopt",
        "sentences": ["Change the default.", "The chance that it gains is high."],
        "probability_better": 0.97,
        "expected_loss": 1.7,
        "yield_g": {"mean": 166.4, "lower": 156.0, "upper": 177.0, "new_lower": 141.2, "new_upper": 191.6},
        "days": {"mean": 38.9, "lower": 37.8, "upper": 40.1, "new_lower": None, "new_upper": None},
        "acid": [
            {"name": name, "lower": lower, "upper": upper, "acid_tsp": amount, "solution_tsp": None,
             "step_tsp": 1.0, "ph_at_lower": 5.3, "ph_at_upper": 6.0,
             "gardens": gardens}
            for name, lower, upper, amount, gardens in (
                ("low", 0.0, 60.0, 1.75, 7), ("medium", 60.0, 120.0, 6.75, 6), ("high", 120.0, 180.0, 11.5, 0),
                ("very high", 180.0, 300.0, 18.75, 12),
            )
        ],
        "classes": {"water": classes, "season": classes[1:], "kind": classes[:1]},
        "evidence": [
            {"id": f"{i}ba40f9d3f61f", "kind": "trial", "trial": f"trial-{i}", "title": "A trial", "season": season,
             "gardens": 4, "buckets": 96, "heads": 384, "gain": None if i == 2 else 30.0, "gain_se": 7.8}
            for i, season in enumerate(seasons)
        ],
        "gardens": 12,
        "compared": [
            {"treatment": OLD, "n_mg_l": 135.0, "mean": 139.3, "buckets": 48, "trials": 3, "beside": 3,
             "difference": None, "se": None, "df": None, "lower": None, "upper": None, "p": None},
            {"treatment": NEW, "n_mg_l": 180.0, "mean": 166.4, "buckets": 48, "trials": 3, "beside": 2,
             "difference": 27.1, "se": 5.2, "df": 140.1, "lower": 11.6, "upper": 42.6, "p": 0.0001},
        ],
        "variation": [{"label": "trials", "sd_g": 0.0}, {"label": "buckets treated alike", "sd_g": 19.0}],
        "refused": ["Mossridge cannot be compared with the current practice: no trial links them."],
        "together": {
            "gains": gains,
            "combined": None,
            "growing": [{**step, "added": one["name"], "season": one["season"], "trials": i + 1}
                        for i, one in enumerate(gains)],
            "without": [{**step, "added": one["name"], "season": one["season"], "trials": 2} for one in gains],
            "heterogeneity": "It was ahead in all 3 trials.",
        },
        "decision": {"thresholds": {"confidence": 0.95, "margin_g": 10.0}},
        "changed": {"since": 1, "sentences": ["New evidence: trial-2, summer 2027."]},
        "would_change": ["A season in which it did worse."],
        "next_trial": {
            "question": "Is citric acid better?",
            "treatments": [NEW, OLD],
            "why": "It has the best chance.",
            "size": {"gardens": 23, "blocks": 3, "buckets": 138, "margin_g": 10.0, "power": 0.8008, "reached": True},
        },
        "notes": ["Only 2 trials varied doses."],
    }  # fmt: skip
