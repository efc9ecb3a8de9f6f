"""Targets that are not just matt and level: how a face meets lamp and camera, and its relief."""
