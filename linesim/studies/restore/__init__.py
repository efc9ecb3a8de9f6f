"""``linesim target restore``: a station's scan becomes a target again, its own blur taken off."""
