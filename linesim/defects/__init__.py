"""Shapes of faults on a target, with their true masks."""
