"""The same tables applied on a device."""
