"""Defects injected into rendered product, and how many are found."""
