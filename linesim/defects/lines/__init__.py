"""Lists of faults, a module a line of production."""
