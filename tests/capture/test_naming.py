"""What the user types, and which device is meant."""

from __future__ import annotations

import pytest

from meter.capture.naming import find, spec_names
from meter.errors import SourceError

NAMES = {
    "a": ("USB Interface", "alsa_input.usb"),
    "b": ("Monitor of USB Interface", "alsa_output.usb.monitor"),
    "c": ("Built-in Audio", "alsa_input.pci"),
}


@pytest.mark.parametrize(
    ("typed", "key"),
    [
        ("USB Interface", "a"),
        ("usb interface", "a"),
        ("alsa_output.usb.monitor", "b"),
        ("built", "c"),
        ("monitor", "b"),
    ],
)
def test_a_name_or_a_part_of_only_one_name_is_enough(typed, key):
    assert find(typed, NAMES) == key


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        (
            "usb",
            '"usb" may be any of "USB Interface", "Monitor of USB Interface"; give the whole name',
        ),
        (
            "Build in Audio",
            'there is no device "Build in Audio"; did you mean "Built-in Audio"? '
            "leadline sources lists what is there",
        ),
        (
            "alsa_input.usc",
            'there is no device "alsa_input.usc"; did you mean "alsa_input.usb"? '
            "leadline sources lists what is there",
        ),
        ("zzz", 'there is no device "zzz"; leadline sources lists what is there'),
        ("", 'there is no device ""; leadline sources lists what is there'),
    ],
)
def test_of_an_unknown_name_the_nearest_is_suggested(typed, sentence):
    with pytest.raises(SourceError) as error:
        find(typed, NAMES)
    assert str(error.value) == sentence


def test_where_there_is_nothing_nothing_is_suggested():
    with pytest.raises(SourceError) as error:
        find("mic", {})
    assert str(error.value) == 'there is no device "mic", nor any other input; plug one in and switch it on'


def test_two_of_one_name_are_told_apart_by_the_name_that_only_one_has():
    twins = {"in.1": ("Mic", "in.1"), "in.2": ("Mic", "in.2")}
    with pytest.raises(SourceError) as error:
        find("mic", twins)
    assert str(error.value) == '"mic" may be any of "in.1", "in.2"; give the whole name'
    assert find("in.2", twins) == "in.2"
    assert spec_names({"in.1": "Mic", "in.2": "Mic", "in.3": "Line"}) == {
        "in.1": "in.1",
        "in.2": "in.2",
        "in.3": "Line",
    }
