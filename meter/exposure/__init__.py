"""How much sound an ear has had, by published rules: estimates, never a promise about a level or a time."""
