"""``linesim target calibrate``: a photograph becomes a target of known reflectance and size."""
