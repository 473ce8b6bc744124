"""Returned files: read with their places, repaired with notes, merged by key, written whole or not at all."""
