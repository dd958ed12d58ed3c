"""The tunes of a set, and how loud the next one comes: found in the loudness alone, put right by the user."""
