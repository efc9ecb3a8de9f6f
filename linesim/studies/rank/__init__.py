"""Every option of a space judged, and the best of them."""
