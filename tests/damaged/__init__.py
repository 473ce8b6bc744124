"""A catalogue of what happens to record files on their way back, and of what merge makes of each."""
