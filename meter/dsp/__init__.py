"""One module per measure: arrays in, arrays out. Needs only numpy and scipy."""
