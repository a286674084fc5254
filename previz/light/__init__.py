"""Lamps and photometry: how much light leaves a face, and how much arrives."""
