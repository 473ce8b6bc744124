"""Evidence that grows: accepted trials in a ledger, pooled over seasons, and the defaults that rest on them."""
