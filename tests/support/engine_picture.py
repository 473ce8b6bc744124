"""The picture of the engine's page as its examples draw it.

``python tests/support/engine_picture.py reports/engine.png`` renews it.
"""

import contextlib
import doctest
import io
import sys
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure
from PIL import Image
from PIL.PngImagePlugin import PngInfo

PAGE = Path(__file__).parents[2] / "reports" / "engine.md"


def figure_of(page: Path) -> Figure:
    """Run the examples of a page up to the one that closes its figure; that figure."""
    names: dict[str, Any] = {}
    for example in doctest.DocTestParser().get_examples(page.read_text("utf-8")):
        with contextlib.redirect_stdout(io.StringIO()):
            exec(compile(example.source, str(page), "single"), names)
        if "pyplot.close" in example.source:
            break
    figure = names["figure"]
    assert isinstance(figure, Figure)
    return figure


def described(figure: Figure) -> str:
    """Where its points stand, to a hundredth: what the picture keeps, to be known as out of date."""
    lines = [line for axes in figure.axes for line in axes.lines if line.get_marker() == "o"]
    points = [zip(line.get_xdata(), line.get_ydata(), strict=True) for line in lines]
    return "; ".join(" ".join(f"{float(x):.2f},{float(y):.2f}" for x, y in each) for each in points)


def draw(page: Path, picture: Path) -> None:
    """Draw the figure of a page."""
    figure, shot, kept = figure_of(page), io.BytesIO(), PngInfo()
    figure.savefig(shot, dpi=90)
    kept.add_itxt("Description", described(figure))
    Image.open(shot).convert("P", palette=Image.Palette.ADAPTIVE).save(picture, pnginfo=kept, optimize=True)


if __name__ == "__main__":
    mpl.use("Agg")
    draw(PAGE, Path(sys.argv[1]))
