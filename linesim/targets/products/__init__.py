"""Products that run under a camera: each a scene with its texture and its faults."""
