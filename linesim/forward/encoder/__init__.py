"""Counts of an encoder, and those that get lost."""
