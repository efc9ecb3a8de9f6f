"""Groups of three bars in an image."""
