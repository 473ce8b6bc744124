"""The command line: parse, call, print. What a command does lives on the floors below."""

from trialkit.cli.main import main

__all__ = ["main"]
