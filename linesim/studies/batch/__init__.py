"""Many stations at once in closed form: what studies along ranges and over spaces share."""
