"""What lies on the bin: which pixels count, their classes, and the cover they add up to."""
