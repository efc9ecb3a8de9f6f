"""What real line sensors add: each fault off until its key of the camera is given."""
