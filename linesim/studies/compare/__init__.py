"""Variants of a station side by side."""
