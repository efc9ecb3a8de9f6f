"""Groups of three bars."""
