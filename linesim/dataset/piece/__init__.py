"""A piece of product with its faults, as the camera meets it."""
