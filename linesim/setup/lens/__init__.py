"""The lens as its maker states it."""
