"""Labelled data sets: draw, render, write, verify, resume."""
