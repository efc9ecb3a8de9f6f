"""Figures from an image of anything."""
