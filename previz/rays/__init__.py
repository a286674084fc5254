"""The ray engine: tracer, patches, shafts, direct light, bounce light."""
