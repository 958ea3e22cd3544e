"""Measures how fast autumn leaves turn into castings in a worm bin, from dated photos with a reference card."""

__version__ = "0.1.0"
