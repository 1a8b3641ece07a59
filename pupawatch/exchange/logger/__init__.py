"""The table of a temperature logger, whatever made it: understood, read, and brought in."""
