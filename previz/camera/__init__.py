"""Lens, exposure, depth of field and tone."""
