"""The two banded matrices around the reference: expected light of each pixel and line."""
