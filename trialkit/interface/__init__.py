"""`trialkit.Trial` and `trialkit.Ledger`: the whole job from Python, one method for each command."""
