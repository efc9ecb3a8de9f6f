"""Images made together on a device: faults are prepared beside it, painted and scanned on it."""
