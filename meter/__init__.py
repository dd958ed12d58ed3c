"""Everything that measures and remembers. Imports no Qt."""
