"""The scales of the priors that the method's page tells are those that the model takes."""

from pathlib import Path

from trialkit.advice.priors import WEIGHT_G

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
}


def test_the_page_tells_the_scales() -> None:
    """Each column of the table, and no other."""
    lines = PAGE.read_text("utf-8").splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("| bucket | block |"))
    heads, values = ([cell.strip() for cell in lines[i].strip("|").split("|")] for i in (at, at + 2))
    assert {HEADS[head]: float(value) for head, value in zip(heads, values, strict=True)} == dict(WEIGHT_G)
