"""A camera from a series of exposures (EMVA 1288)."""
