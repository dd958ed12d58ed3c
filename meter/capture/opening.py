"""What everything that opens a stream shares: limits, and the same sentences."""

from __future__ import annotations

from typing import Final

from meter.errors import SourceError

OPEN_WITHIN_S: Final = 2.0
CLOSE_WITHIN_S: Final = 1.5

LIST_THEM: Final = "leadline sources lists what is there"


def busy(name: str) -> SourceError:
    """Another program has the device for itself."""
    return SourceError(
        f"{name} is in use by another program, which keeps it to itself; close that program, or choose "
        "another source (leadline sources lists them)"
    )


def missing(name: str) -> SourceError:
    """It was there before."""
    return SourceError(f"{name} is not there; is it plugged in and switched on? {LIST_THEM}")


def gone(name: str) -> SourceError:
    """It was there a moment ago, and cannot be opened."""
    return SourceError(
        f"{name} went away while it was being opened; is it still plugged in and switched on? {LIST_THEM}"
    )


def hangs(name: str) -> SourceError:
    """Opening does not come back."""
    return SourceError(
        f"{name} does not open, nor does it say why: its sound server or driver seems to stand still; "
        "restart that, then try again"
    )
