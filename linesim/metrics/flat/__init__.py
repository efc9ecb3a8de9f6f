"""Noise and evenness of even areas."""
