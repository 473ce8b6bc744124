"""Answers: the model that the randomisation implies, its estimates, checks and verdict."""

from trialkit.analysis.trial_analysis import analyse
from trialkit.documents.results import Results

__all__ = ["Results", "analyse"]
