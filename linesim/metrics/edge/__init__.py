"""Edge response (ISO 12233)."""
