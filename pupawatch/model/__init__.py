"""What there is: entries, and the pupae and places they tell of. Pure: no clock, no file, no screen."""
