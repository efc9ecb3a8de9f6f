"""Masks, outlines, and how well a fault is seen."""
