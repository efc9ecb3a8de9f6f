"""Whether a set is as it was made: its list of files."""
