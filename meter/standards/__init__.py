"""Published constants and published test signals, each with document and clause."""
