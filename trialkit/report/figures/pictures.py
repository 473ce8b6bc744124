"""The pictures of the page, or sentences in their place."""

from __future__ import annotations

from trialkit.report.figures.days import days_picture
from trialkit.report.figures.dose_pictures import dose_picture
from trialkit.report.figures.margins import margins_picture
from trialkit.report.figures.picture import Picture
from trialkit.report.figures.sites import sites_picture
from trialkit.report.figures.treatment_pictures import candidates_picture
from trialkit.report.reading import Reading

NOTHING_TO_DRAW = "No response could be analysed, so there is nothing to draw."
NO_FIRST = "There is no recommendation, so there is no picture of what is expected of each treatment."
DOSE = "dose_tsp"
NO_SECOND = (
    "Only one factor was varied, and not the dose, so there is no dose picture. The first picture shows all there is."
)


def pictures(reading: Reading) -> tuple[tuple[Picture, ...], str]:
    """Draw what can be drawn.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    tuple of Picture, str
        The pictures, and a sentence about what is not drawn (empty if nothing is missing).
    """
    response = reading.response
    if response is None:
        return (), NOTHING_TO_DRAW
    second = dose_picture(reading) or (None if DOSE in reading.columns else margins_picture(reading, response))
    drawn = (candidates_picture(reading), second, sites_picture(reading, response), days_picture(reading))
    missing = "" if second else NO_SECOND if reading.decision else NO_FIRST
    return tuple(picture for picture in drawn if picture), missing
