"""The key of a run."""

import base64

import pytest

from meter.second_screen.key import is_right, new_key


def test_a_key_has_128_bits_and_no_two_are_the_same():
    keys = {new_key() for _ in range(100)}
    assert len(keys) == 100
    assert {len(base64.urlsafe_b64decode(key + "==")) for key in keys} == {16}


@pytest.mark.parametrize(
    "given", [None, "", "Bearer ", "Bearer abx", "abc", "bearer abc", "Bearer abc ", "Bearer äbc"]
)
def test_only_the_key_itself_is_right(given):
    assert is_right("Bearer abc", "abc")
    assert not is_right(given, "abc")
