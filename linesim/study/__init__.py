"""Runs that put target, forward model and metrics together."""
