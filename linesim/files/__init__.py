"""Images, CSV and JSON in and out; every write is atomic."""
