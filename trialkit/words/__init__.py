"""Every sentence that a user reads, made from facts."""
