"""What to do this morning. Pure: the hour and the settings are arguments."""
