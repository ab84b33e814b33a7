"""Many designs: search, front, and everything that is shown to people."""
