"""Before a trial: for now, the invented county whose records stand in for real ones in examples and tests."""
