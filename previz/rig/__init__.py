"""What carries the lens: motion, the lens and body as solids, clearance, framing."""
