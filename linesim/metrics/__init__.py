"""What an image is worth."""
