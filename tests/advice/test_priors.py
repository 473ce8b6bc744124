"""The scales of the priors that the method's page tells are those that the model takes."""

from pathlib import Path

from trialkit.advice.priors import DAYS, PLANNED_G, PLANNED_LOGIT, SLOPE_DAYS, SLOPE_G, WEIGHT_G

PAGE = Path(__file__).parents[2] / "reports" / "method.md"
HEADS = {
    "bucket": "bucket",
    "block": "block",
    "whole plot": "whole_plot",
    "garden": "garden",
    "season": "season_level",
    "garden × cultivar": "garden_cultivar",
    "garden × dose": "garden_dose",
    "garden × acid": "garden_acidifier",
    "season × factors": "season",
    "cultivar": "cultivar",
    "acid": "acidifier",
    "curve": "curve",
    "interactions": "interaction",
    "surroundings": "surroundings",
    "line of the dose curve": "slope",
    "logit of the marketable share": "share",
}


def table_of(start: str) -> dict[str, float]:
    """The one row of numbers of the page's table whose heading begins so."""
    lines = PAGE.read_text("utf-8").splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith(start))
    heads, values = ([cell.strip() for cell in lines[i].strip("|").split("|")] for i in (at, at + 2))
    return {HEADS[head]: float(value) for head, value in zip(heads, values, strict=True)}


def test_the_page_tells_the_scales() -> None:
    """Each column of the table, and no other; of weights and of days."""
    lines = PAGE.read_text("utf-8").splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("| | bucket | block |"))
    heads, *rows = ([cell.strip() for cell in lines[i].strip("|").split("|")] for i in (at, at + 2, at + 3))
    told = [dict(zip(heads[1:], row[1:], strict=True)) for row in rows]
    for (name, scales), row in zip((("g", WEIGHT_G), ("days", DAYS)), told, strict=True):
        assert {HEADS[head]: float(value) for head, value in row.items()} == dict(scales), name
    assert [row[0] for row in rows] == ["weight, g", "days"]
    assert f"{SLOPE_G:g} g and {SLOPE_DAYS:g} days over the range" in " ".join(lines)


def test_the_page_tells_what_a_plan_takes_treatments_to_differ_by() -> None:
    """Of weights and of shares."""
    assert table_of("| cultivar | acid |") == {**PLANNED_G, "share": PLANNED_LOGIT}
