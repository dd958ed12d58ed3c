"""What may be chosen of delivery, and what is chosen unless the user says otherwise."""

from __future__ import annotations

from typing import Final

DEFAULT_WISHES: Final = "aac:256,mp3:320,opus:128"
"""Usual rates of stores, of DJ pools and of streams. Common practice, no source."""

LOUDEST_LUFS: Final = 0.0
QUIETEST_LUFS: Final = -40.0
"""A level of the user's own lies between."""
OWN_LUFS: Final = -14.0
