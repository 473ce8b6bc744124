"""The pack of a garden as a browser prints it: few sheets, each of which says whose it is."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from chromium import Window
from laid_out_trial import laid_out
from printed import MARGIN_PT, PIXELS_PER_POINT, broken_words, ink
from trialkit.domain.units import Measures
from trialkit.forms.pack import garden_pack
from trialkit.protocol.sections import FactorLevels
from trialkit.rules.trial_folder import CheckedTrial

pdfium = pytest.importorskip("pypdfium2", exc_type=ImportError)


SAID = {
    "en": (
        "Fernsedge School",
        "Trial trial, layout version 1",
        "Send back to: county horticulture adviser",
        "Planting and mixing",
    ),
    "es": (
        "Fernsedge School",
        "Ensayo trial, versión 1 del plano",
        "Devolver a: asesor de horticultura del condado",
        "Plantación y mezcla",
    ),
}
"""What stands on every sheet, and what begins those of records."""


def with_buckets(trial: CheckedTrial, buckets: int) -> CheckedTrial:
    """Return a trial with so many buckets in its one garden, sown on a day that is known, all with one cultivar."""
    own = trial.layout[trial.layout["site"] == "FERN"]
    several = own.loc[own.index.repeat(math.ceil(buckets / len(own)))][:buckets].assign(
        bucket=[f"3{n:02d}X" for n in range(buckets)],
        position=range(1, buckets + 1),
        block=[1 + n // 16 for n in range(buckets)],
    )
    factors = {**trial.protocol.factors, "cultivar": FactorLevels(levels=("Larkmoor Butter",))}
    schedule = trial.protocol.schedule.model_copy(update={"sow_on": date(2026, 8, 6)})
    return replace(
        trial,
        layout=several.reset_index(drop=True),
        protocol=trial.protocol.model_copy(update={"schedule": schedule, "factors": factors}),
    )


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> CheckedTrial:
    """A trial as it stands before its season."""
    return laid_out(tmp_path_factory.mktemp("printed") / "trial")


@pytest.mark.parametrize(
    ("buckets", "language", "measures", "paper", "most"),
    [
        (3, "en", "both", "A4", 4),
        (8, "en", "both", "A4", 4),
        (8, "en", "both", "Letter", 4),
        (8, "en", "kitchen", "Letter", 4),
        (17, "en", "both", "Letter", 8),
        (48, "en", "metric", "A4", 14),
        (8, "es", "both", "A4", 4),
        (8, "es", "both", "Letter", 4),
        (17, "es", "metric", "Letter", 8),
    ],
)
def test_a_pack_is_few_sheets_and_each_is_whole(
    window: Window,
    small: CheckedTrial,
    tmp_path: Path,
    buckets: int,
    language: str,
    measures: Measures,
    paper: str,
    most: int,
) -> None:
    """Four of them for eight buckets; nothing in the side margins, no broken word, none less than a quarter full.

    Each says garden, trial, its number and whom it goes back to; a record sheet is one sheet of paper.
    """
    trial = with_buckets(small, buckets)
    about = trial.protocol.trial.model_copy(update={"measures": measures, "language": language})
    asked = replace(trial, protocol=trial.protocol.model_copy(update={"trial": about}))
    path = tmp_path / "pack.html"
    path.write_text(garden_pack(asked, "FERN"), "utf-8")
    page = window.show(path)
    sheets = list(pdfium.PdfDocument(page.pdf(format=paper)))
    printed = [re.sub(r"\s+", " ", sheet.get_textpage().get_text_range()) for sheet in sheets]
    assert len(sheets) <= most
    *margins, first_of_records = SAID[language]
    for number, text in enumerate(printed, 1):
        assert all(said in text for said in (*margins, f"{number} / {len(sheets)}"))
    assert broken_words(page, [text.replace(margins[-1], " ") for text in printed]) == set()
    of_records = [number for number, text in enumerate(printed) if first_of_records in text]
    assert of_records == list(range(len(sheets) - page.locator(".sheet").count(), len(sheets)))
    for sheet in sheets:
        marks = ink(sheet)
        height, width = marks.shape
        side, head, foot = (int(points * PIXELS_PER_POINT) for points in (MARGIN_PT, 42, 40))
        assert not marks[:, :side].any()
        assert not marks[:, width - side :].any()
        assert np.flatnonzero(marks[head : height - foot].any(axis=1)).max() + head > height / 4
