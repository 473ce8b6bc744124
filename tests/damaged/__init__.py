"""A catalogue of what happens to record files on their way back, and of what collect makes of each."""
