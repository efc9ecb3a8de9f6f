"""Scoring what a detector found on a set, beside what can be found at all."""
