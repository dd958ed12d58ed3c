"""Where samples come from: the ring and the sources."""
