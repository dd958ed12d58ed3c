"""The loopback device of a Mac, found among devices made by hand."""

from __future__ import annotations

import pytest

from meter.capture import mac_loopback
from meter.capture.portaudio import Device
from meter.errors import SourceError


def device(index: int, name: str, inputs: int, outputs: int, *, is_output: bool = False) -> Device:
    return Device(
        index=index,
        name=name,
        host="Core Audio",
        inputs=inputs,
        outputs=outputs,
        rate_hz=48_000,
        is_default_input=False,
        is_default_output=is_output,
    )


MICROPHONE, SPEAKERS = device(0, "Microphone", 1, 0), device(1, "Speakers", 0, 2, is_output=True)


def test_the_only_two_way_device_is_the_loopback():
    loopback = device(2, "Loop", 2, 2)
    assert mac_loopback.find([MICROPHONE, SPEAKERS, loopback]) == loopback
    assert mac_loopback.explanation(loopback) == (
        "what programs play into Loop, which is not the system's output now"
    )


def test_the_two_way_device_that_is_the_output_is_the_loopback():
    interface, loopback = device(2, "Interface", 8, 8), device(3, "Loop", 16, 16, is_output=True)
    assert mac_loopback.find([interface, loopback]) == loopback
    assert mac_loopback.explanation(loopback) == "what the system plays into Loop"


def test_with_no_loopback_it_is_explained_what_to_install():
    with pytest.raises(SourceError) as error:
        mac_loopback.find([MICROPHONE, SPEAKERS, device(2, "Interface", 2, 4)])
    assert str(error.value) == (
        "macOS lets no program hear what the system plays; install a loopback driver (a virtual device that "
        "can be both output and input), choose it as the output in the system's sound settings, and try again"
    )


def test_between_two_that_may_be_it_nothing_is_guessed():
    with pytest.raises(SourceError) as error:
        mac_loopback.find([SPEAKERS, device(2, "Interface", 2, 2), device(3, "Loop", 2, 2)])
    assert str(error.value) == (
        'which device is the loopback is not clear: "Interface" or "Loop"; make it the system\'s output, '
        "or choose it with --source device:NAME"
    )
