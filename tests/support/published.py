"""The pages in reports/ made from the bundled trials; ``python tests/support/published.py reports`` writes them."""

import html
import io
import re
import shutil
import sys
import tempfile
from collections.abc import Callable
from datetime import date
from pathlib import Path

from PIL import Image
from PIL.PngImagePlugin import PngInfo
from playwright.sync_api import sync_playwright

from chromium import ARGUMENTS, CHROMIUM
from seasons import accept
from trialkit import __version__
from trialkit.analysis import Results, analyse
from trialkit.documents.document import as_text, as_written
from trialkit.evidence.versions import recommend_anew
from trialkit.planning.next_trial import propose
from trialkit.protocol.county import County, CountyBlock
from trialkit.report.care_page import care_html
from trialkit.report.evidence_page import evidence_html
from trialkit.report.handout import handout_html
from trialkit.report.page import report_html
from trialkit.rules.trial_folder import read_trial

EXAMPLES = Path(__file__).parents[2] / "example_trials"
COUNTY = CountyBlock(
    Path("county.toml"),
    County(name="Larkmoor County", programme="Garden Advice", contact="the county's horticulture desk"),
    logo=None,
)
ACCEPTED_ON = date(2027, 11, 1)
VERSIONS = re.compile(r"Made with:</p>\n<dl.*?</dl>", re.DOTALL)
NUMBER = re.compile(r"\d+(?:\.\d+)?")
DIGEST = re.compile(r"\b[0-9a-f]{12,}\b")


def published_pages(folder: Path, analysed: Callable[[str], Results]) -> dict[str, str]:
    """Do the whole work on each bundled trial, in an empty folder, and return the pages by name."""
    pages = {}
    for name in sorted(path.name for path in EXAMPLES.iterdir()):
        trial = Path(shutil.copytree(EXAMPLES / name, folder / name))
        results = as_written(analysed(name))
        (trial / "results").mkdir()
        (trial / "results" / "results.json").write_text(as_text(results), "utf-8")
        pages[f"{name}.html"] = report_html(results)
        accept(folder / "ledger", trial, ACCEPTED_ON)
    recommended = recommend_anew(folder / "ledger", __version__, propose).document
    pages["evidence.html"] = evidence_html(recommended)
    pages |= {"handout.html": handout_html(recommended, COUNTY), "care.html": care_html(recommended, COUNTY)}
    pages["handout-es.html"] = handout_html(recommended, COUNTY, "es")
    return pages


def differences(made: str, kept: str) -> list[str]:
    """Say where two pages differ, but for versions of libraries, digests, and numbers in their last figure.

    Digests are of files that name the versions. Another processor rounds otherwise in the sixteenth figure, which may
    turn the third of a rounded number.
    """
    texts = [DIGEST.sub("", VERSIONS.sub("", page)) for page in (made, kept)]
    between = [NUMBER.split(text) for text in texts]
    if between[0] != between[1]:
        at = next((i for i, two in enumerate(zip(*between, strict=False)) if two[0] != two[1]), 0)
        return [f"{part[at : at + 1]}" for part in between]
    numbers = [NUMBER.findall(text) for text in texts]
    return [f"{a} for {b}" for a, b in zip(*numbers, strict=True) if not _is_like(a, b)]


def _is_like(made: str, kept: str) -> bool:
    """Whether two numbers are one but for a unit of the last place; small whole numbers must be the same."""
    places = max(len(number.partition(".")[2]) for number in (made, kept))
    if places == 0 and max(float(made), float(kept)) < 100:
        return made == kept
    return abs(float(made) - float(kept)) <= 1.001 * 10.0**-places


def answer_of(page: str) -> str:
    """The sentence that a report begins with."""
    found = re.search(r'<p class="sentence"><bdi[^>]*>(.*?)</bdi>', page)
    assert found
    return html.unescape(re.sub("<[^>]+>", "", found[1]))


def draw(page: Path, picture: Path) -> None:
    """Take a picture of the top of a report as a browser shows it; the picture keeps the sentence of its answer."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=list(ARGUMENTS))
        view = browser.new_page(viewport={"width": 1200, "height": 900})
        view.goto(page.resolve().as_uri())
        shot = view.screenshot()
        browser.close()
    kept = PngInfo()
    kept.add_itxt("Description", answer_of(page.read_text("utf-8")))
    Image.open(io.BytesIO(shot)).convert("P", palette=Image.Palette.ADAPTIVE).save(picture, pnginfo=kept, optimize=True)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        for name, page in published_pages(Path(place), lambda name: analyse(read_trial(EXAMPLES / name))).items():
            (Path(sys.argv[1]) / name).write_text(page, "utf-8")
    draw(Path(sys.argv[1]) / "autumn_dose.html", Path(sys.argv[1]) / "autumn_dose.png")
