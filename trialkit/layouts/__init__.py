"""Randomised layouts: arrays and frames in, frames out; no files, no clock, no global randomness."""
