"""Bars and beats beside minutes and seconds."""

import pytest

from meter.findings.bars import bar_text, with_bars


@pytest.mark.parametrize(
    ("at_s", "expected"), [(0.5, "1:1"), (1.0, "1:2"), (2.5, "2:1"), (32.4, "16:4"), (0.4, "0:4")]
)
def test_bars_and_beats_count_from_the_first_downbeat(at_s, expected):
    assert bar_text(at_s, bpm=120.0, downbeat_s=0.5) == expected


def test_every_time_of_a_sentence_gets_its_bar_and_nothing_else_does():
    text = "6 overs from 0:02.5 to 1:00.5 at 1.6 dB"
    said = with_bars(text, bpm=120.0, downbeat_s=0.5)
    assert said == "6 overs from 0:02.5 (bar 2:1) to 1:00.5 (bar 31:1) at 1.6 dB"
