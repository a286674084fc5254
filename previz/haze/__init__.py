"""The scattering medium: extinction, phase function, decay with time."""
