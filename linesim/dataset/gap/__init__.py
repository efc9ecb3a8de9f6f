"""How far good images of a set are from real ones, and which ranges would close the gap."""
