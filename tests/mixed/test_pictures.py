"""Pictures of a fit: what is drawn is what the tables say."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from matplotlib import pyplot
from matplotlib.axes import Axes
from matplotlib.colors import to_hex
from numpy.testing import assert_allclose
from PIL import Image

from engine_picture import PAGE, described, figure_of
from trialkit.mixed import MixedFit, MixedModelError, fit_mixed

FOLDER = Path(__file__).parents[1] / "reference"


@pytest.fixture(autouse=True)
def _closed() -> Iterator[None]:
    """Draw without a screen, and close every figure."""
    mpl.use("Agg")
    yield
    pyplot.close("all")


@pytest.fixture(scope="module")
def oats() -> MixedFit:
    """Yates's oats: doses by variety."""
    data = pd.read_csv(FOLDER / "mixed_models" / "oats_split_plot.csv", dtype=str)
    return fit_mixed(
        data.assign(grain=data["yield"].astype(float)), "grain ~ dose * Variety", ["Block", "Block:Variety"]
    )


@pytest.fixture(scope="module")
def boys() -> MixedFit:
    """Heights of boys: a level and a slope for each."""
    data = pd.read_csv(FOLDER / "nested_fits" / "oxboys.csv", dtype={"Subject": str})
    return fit_mixed(data, "height ~ age", "Subject with age")


def bars(axes: Axes) -> list[np.ndarray]:
    """Ends of the limits drawn."""
    return [segment for lines in axes.collections for segment in lines.get_segments()]


def test_means_and_limits(oats: MixedFit) -> None:
    """One factor: a point a level, in order, its limits those of the table."""
    axes, table = oats.plot_means("dose", confidence=0.9), oats.means("dose", confidence=0.9)
    assert_allclose(axes.lines[0].get_ydata(), table["mean"])
    assert_allclose([segment[:, 1] for segment in bars(axes)], table[["lower", "upper"]])
    assert [label.get_text() for label in axes.get_xticklabels()] == list(table.index)
    assert axes.get_legend() is None


def test_joint_levels_have_a_colour_and_a_mark_each(oats: MixedFit) -> None:
    """Told apart by both; no two points of a level lie on each other."""
    axes, table = oats.plot_means("dose:Variety"), oats.means("dose:Variety")
    legend = axes.get_legend()
    assert legend is not None
    assert [text.get_text() for text in legend.get_texts()] == ["Golden Rain", "Marvellous", "Victory"]
    points = [container.lines[0] for container in axes.containers]
    assert len({to_hex(line.get_color()) for line in points}) == len({line.get_marker() for line in points}) == 3
    drawn = {
        (round(x), name): y
        for line, name in zip(points, ("Golden Rain", "Marvellous", "Victory"), strict=True)
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    }
    doses = list(dict.fromkeys(table.index.get_level_values(0)))
    assert drawn == pytest.approx({(doses.index(d), v): mean for (d, v), mean in table["mean"].items()})
    assert len({x for line in points for x in line.get_xdata()}) == 12


def test_residuals(oats: MixedFit) -> None:
    """Standardised residuals against what is fitted with the random effects."""
    axes, table = oats.plot_residuals(), oats.residuals()
    (points,) = [line for line in axes.lines if line.get_marker() == "o"]
    assert_allclose(points.get_ydata(), table["standardised"])
    assert_allclose(points.get_xdata(), oats.response - table["conditional"])
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("Fitted grain", "Residual, in standard deviations")


def test_effects_in_order(oats: MixedFit) -> None:
    """The largest on top, with 1.96 standard errors either way."""
    axes = oats.plot_random_effects("Block:Variety")
    table = oats.random_effects("Block:Variety").sort_values("effect", kind="stable")
    assert [label.get_text() for label in axes.get_yticklabels()] == list(table.index)
    half = 1.959963984540054 * table["se"]
    ends = np.column_stack([table["effect"] - half, table["effect"] + half])
    assert_allclose([segment[:, 0] for segment in bars(axes)], ends)


def test_parts_of_a_term_with_slopes(boys: MixedFit) -> None:
    """The level, or the slope where it is asked for."""
    table = boys.random_effects("Subject with age")
    for part, axis in (("level", "Effect on height"), ("age", "Effect on height a unit of age")):
        axes = boys.plot_random_effects("Subject with age", part)
        (points,) = [line for line in axes.lines if line.get_marker() == "o"]
        assert_allclose(points.get_xdata().astype(float), sorted(table.xs(part, level="part")["effect"]))
        assert axes.get_xlabel() == axis
    with pytest.raises(MixedModelError, match="'days' is no part of the random term 'Subject with age': level, age"):
        boys.plot_random_effects("Subject with age", "days")


def test_the_page_shows_the_picture_that_its_examples_draw() -> None:
    """The points of reports/engine.png are those that the page's examples draw today."""
    with Image.open(PAGE.with_suffix(".png")) as picture:
        assert picture.info["Description"] == described(figure_of(PAGE))


@pytest.mark.parametrize(
    "draw",
    [
        lambda fit, ax: fit.plot_means("dose", ax=ax),
        lambda fit, ax: fit.plot_residuals(ax=ax),
        lambda fit, ax: fit.plot_random_effects("Block", ax=ax),
    ],
)
def test_axes_that_are_given_are_drawn_on(oats: MixedFit, draw: Any) -> None:
    """No figure is opened then; without them one is."""
    given = pyplot.figure().subplots()
    assert draw(oats, given) is given
    assert len(pyplot.get_fignums()) == 1
    assert draw(oats, None) is not given
    assert len(pyplot.get_fignums()) == 2


def test_means_that_are_not_estimable_leave_a_gap() -> None:
    """A combination never tried has no point, and the others keep their places."""
    data = pd.read_csv(FOLDER / "mixed_models" / "oats_missing_cell.csv", dtype=str)
    fit = fit_mixed(data.assign(grain=data["yield"].astype(float)), "grain ~ dose * Variety", "Block")
    axes, table = fit.plot_means("dose:Variety"), fit.means("dose:Variety")
    drawn = np.concatenate([container.lines[0].get_ydata() for container in axes.containers])
    assert np.isnan(drawn).sum() == (~table["estimable"]).sum() == 1


def test_terms_and_confidences_are_refused(oats: MixedFit) -> None:
    """As by the tables."""
    with pytest.raises(MixedModelError, match="'Plot' is not a random term"):
        oats.plot_random_effects("Plot")
    with pytest.raises(MixedModelError, match="confidence is 2"):
        oats.plot_random_effects("Block", confidence=2)
