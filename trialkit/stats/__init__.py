"""Statistics that know nothing of trials: shares of counts."""
