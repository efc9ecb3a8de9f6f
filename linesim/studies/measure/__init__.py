"""Figures read off images, simulated or captured."""
