"""What trialkit writes and reads back: results, plans, recommended defaults, answers. Frozen values, no statistics."""
