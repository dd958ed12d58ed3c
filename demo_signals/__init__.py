"""The demo scenario: a tune of our own with planted faults."""
