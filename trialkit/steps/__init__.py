"""What commands and `trialkit.interface` do with a trial folder or a ledger; each step once, with its sentence."""
