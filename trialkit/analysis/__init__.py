"""Answers: the model that the randomisation implies, its estimates, checks and verdict."""

from trialkit.analysis.document import Results
from trialkit.analysis.results import analyse

__all__ = ["Results", "analyse"]
