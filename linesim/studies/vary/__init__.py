"""One quantity or two along ranges, and where a requirement is met."""
