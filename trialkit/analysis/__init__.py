"""Answers: the model that the randomisation implies, its estimates, checks and verdict."""

from trialkit.analysis.results import analyse
from trialkit.documents.results import Results

__all__ = ["Results", "analyse"]
