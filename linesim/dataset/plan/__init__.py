"""The plan of a set: keys, ranges, faults, splits."""
