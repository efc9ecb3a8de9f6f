"""Images of anything."""
