"""How surely a defect is found."""
