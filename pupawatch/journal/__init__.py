"""The journal file: append, read, back up, check."""
