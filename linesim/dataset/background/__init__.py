"""Faults in real scans: the scan stays as it is, and only a fault's electrons go in."""
