"""Metres of product from one small photograph, without a visible repeat."""
