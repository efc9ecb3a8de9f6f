"""An image held against its prediction."""
