"""Findings: one small function a rule, registered by name."""
