"""Figures and pages for people."""
