"""A camera from frames of even light and of the dark (EMVA 1288)."""
