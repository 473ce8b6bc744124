"""The protocol of a trial, and what follows from it before any record: treatments, layout, randomising."""
