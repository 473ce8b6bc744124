"""Comparing what the engine answers with what R answered (tests/reference/README.md gives the tolerances)."""

import json
from pathlib import Path
from typing import Any

import pytest

REFERENCE = Path(__file__).parents[1] / "reference"
QUANTILES = json.loads((REFERENCE / "quantiles" / "quantiles.json").read_text(encoding="utf-8"))
PAIRS = [("none", "unadjusted"), ("tukey", "tukey"), ("holm", "holm"), ("sidak", "sidak")]


def check_pairs(table: Any, entries: list[dict[str, Any]], name: str, *, exact: bool = False) -> None:
    """Compare a table of pairs, whichever way round each pair stands; exactly where only the residual varies."""
    assert len(table) == len(entries)
    se = "standard_error" if exact else "standard_error_kenward_roger"
    rel, se_rel, p_rel, p_abs = (1e-9, 1e-9, 1e-9, 1e-12) if exact else (1e-8, 1e-7, 2e-6, 1e-10)
    tolerance = {"abs": 1e-6} if name == "tukey" else {"rel": p_rel, "abs": p_abs}
    for entry in entries:
        pair, sign = (entry["first"], entry["second"]), 1
        if pair not in table.index:
            pair, sign = pair[::-1], -1
        row = table.loc[pair]
        assert sign * row["estimate"] == pytest.approx(entry["estimate"], rel=rel, abs=rel * row["se"])
        assert row["se"] == pytest.approx(entry[se], rel=se_rel)
        assert exact or row["df"] == pytest.approx(entry["df_kenward_roger"], rel=1e-6)
        assert row["p"] == pytest.approx(entry[f"p_{name}"], **tolerance)
        if f"lower_{name}" in entry:
            limits = sorted([sign * row["lower"], sign * row["upper"]])
            given = [entry[f"lower_{name}"], entry[f"upper_{name}"]]
            assert limits == pytest.approx(given, rel=1e-6, abs=1e-6 * row["se"])


def check_control(table: Any, entries: list[dict[str, Any]], tolerance: float) -> list[Any]:
    """Compare Dunnett's p and critical values; return the rows."""
    rows = [table.loc[entry["level"]] for entry in entries]
    for row, entry in zip(rows, entries, strict=True):
        assert row["p"] == pytest.approx(entry["p_dunnett"], abs=tolerance)
        critical = (row["upper"] - row["estimate"]) / row["se"]
        assert critical == pytest.approx(entry["critical_value_95"], abs=max(tolerance, 1e-6))
    return rows
