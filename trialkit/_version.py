"""The version of trialkit, as pyproject.toml has it (a test compares)."""

__version__ = "0.2.0"
