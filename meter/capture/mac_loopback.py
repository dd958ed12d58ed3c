"""The system's own output on macOS, where only an installed loopback device gives it.

macOS lets no program hear what the others play. A loopback driver does: a device whose output
side is chosen in the system's settings and whose input side then gives the same sound. It is
known by that two-way nature: one device, as many channels in as out. An audio interface with as
many inputs as outputs looks just the same, so nothing is guessed where more than one fits, and
what was taken is named. Not yet tried on a Mac.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from meter.capture.portaudio import Device
from meter.errors import SourceError

INSTALL_ONE: Final = (
    "install a loopback driver (a virtual device that can be both output and input), choose it as the output "
    "in the system's sound settings, and try again"
)


def find(devices: Sequence[Device]) -> Device:
    """The loopback device that is meant.

    The system's output, if it is two-way: then it is what programs play into. Otherwise the only
    two-way device there is.

    Raises
    ------
    SourceError
        There is none, or more than one that could be it.
    """
    two_way = [device for device in devices if device.inputs and device.inputs == device.outputs]
    for device in two_way:
        if device.is_default_output:
            return device
    if not two_way:
        raise SourceError(f"macOS lets no program hear what the system plays; {INSTALL_ONE}")
    if len(two_way) > 1:
        names = " or ".join(f'"{device.name}"' for device in two_way)
        raise SourceError(
            f"which device is the loopback is not clear: {names}; make it the system's output, "
            "or choose it with --source device:NAME"
        )
    return two_way[0]


def explanation(device: Device) -> str:
    """What is heard, for the listing: it holds only when programs play into this device."""
    if device.is_default_output:
        return f"what the system plays into {device.name}"
    return f"what programs play into {device.name}, which is not the system's output now"
