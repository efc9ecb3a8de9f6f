"""The forward model: from light on the target to delivered numbers."""
