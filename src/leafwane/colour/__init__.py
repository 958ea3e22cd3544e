"""Colour spaces, colour differences, and the correction fitted to the card."""
