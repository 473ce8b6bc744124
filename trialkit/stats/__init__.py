"""Statistics that know nothing of trials: meta-analysis, shares."""
