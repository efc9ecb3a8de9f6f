"""A station's unknowns fitted to captures, so that the next prediction starts from the machine."""
