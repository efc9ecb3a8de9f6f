"""Even areas of images: noise, signal, and how even the line is."""
