"""The slanted edge of an image."""
