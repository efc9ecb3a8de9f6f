"""Every way to make a reference by formula: test targets and sample scenes."""
