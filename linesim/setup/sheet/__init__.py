"""Figures as data sheets state them, and the setup's own that follow from them."""
