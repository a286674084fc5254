"""Plan the light, the haze and the camera move of a miniature set before it is cut."""

__version__ = "0.1.0"
