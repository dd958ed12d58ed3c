"""Which channels are heard. Orders: ITU-R BS.1770-5, Table 3 (see `default_weights`)."""

from __future__ import annotations

import pytest

from meter.capture.layout import channels_to_take
from meter.errors import SourceError

FILM_AS_ALSA_HAS_IT = ("front-left", "front-right", "rear-left", "rear-right", "front-center", "lfe")


@pytest.mark.parametrize("channels", [1, 2])
def test_one_or_two_channels_are_taken_as_they_are(channels):
    assert channels_to_take("mic", channels, None) == tuple(range(channels))


def test_left_comes_first_where_the_system_tells_which_it_is():
    assert channels_to_take("out", 2, None, ("front-right", "front-left")) == (1, 0)


def test_a_film_layout_is_put_into_the_order_of_the_weights():
    assert channels_to_take("out", 6, None, FILM_AS_ALSA_HAS_IT) == (0, 1, 4, 5, 2, 3)


def test_a_side_pair_is_a_surround_pair():
    positions = ("front-left", "front-right", "side-left", "side-right")
    assert channels_to_take("out", 4, None, positions) == (0, 1, 2, 3)


@pytest.mark.parametrize(
    ("channels", "positions"),
    [
        (9, None),
        (4, None),
        (9, tuple(f"aux{place}" for place in range(9))),
        (3, ("front-left", "front-right", "lfe")),
        (4, ("front-left", "front-right", "rear-left", "side-right-of-nothing")),
        (8, (*FILM_AS_ALSA_HAS_IT, "side-left", "side-right")),
    ],
)
def test_of_many_channels_without_known_places_a_pair_must_be_chosen(channels, positions):
    with pytest.raises(SourceError) as error:
        channels_to_take("the interface", channels, None, positions)
    assert str(error.value) == (
        f"the interface has {channels} channels, and which of them are left and right is not known; "
        "choose a pair, for example --channels 1,2"
    )


def test_a_chosen_pair_is_counted_from_one_and_keeps_its_order():
    assert channels_to_take("in", 9, (4, 3)) == (3, 2)


@pytest.mark.parametrize(
    ("channels", "pair", "sentence"),
    [
        (9, (9, 10), "in has 9 channels, but --channels 9,10 was asked for; choose two of 1 to 9"),
        (1, (1, 2), "in has 1 channel, but --channels 1,2 was asked for; leave --channels away"),
        (4, (3, 3), "in has 4 channels, but --channels 3,3 was asked for; choose two of 1 to 4"),
    ],
)
def test_a_pair_that_is_not_there_is_said_to_be_so(channels, pair, sentence):
    with pytest.raises(SourceError) as error:
        channels_to_take("in", channels, pair)
    assert str(error.value) == sentence
