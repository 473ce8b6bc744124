"""Run the command line as ``python -m trialkit``."""

from trialkit.cli import main

main()
