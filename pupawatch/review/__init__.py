"""What the season taught: outcomes, rates with their doubt, comparisons. Pure: no clock, no file, no screen."""
