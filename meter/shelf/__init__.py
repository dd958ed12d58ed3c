"""The shelf: passes that the user keeps as references, and the comparison with them at equal loudness."""
