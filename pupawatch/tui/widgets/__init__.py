"""The parts a screen is made of."""
