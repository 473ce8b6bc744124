"""Pictures of results, drawn twice (for a desk and for a phone) as SVG that takes its colours from the page."""

from trialkit.report.figures.picture import Picture
from trialkit.report.figures.pictures import pictures

__all__ = ["Picture", "pictures"]
