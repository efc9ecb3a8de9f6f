"""The local page with sliders: what a station would deliver, while its numbers are moved."""
