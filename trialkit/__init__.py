"""Plan, run and answer replicated lettuce-bucket trials in real gardens."""

__version__ = "0.1.0"
