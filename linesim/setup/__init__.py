"""What the user proposes: checked, frozen, in fixed units."""
