"""Asked backwards: where a lamp must stand, where an opening must be, and how exact both must be."""
