"""Lamps, photometry and the colour of light."""
