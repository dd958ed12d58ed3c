"""What is said of a source: one clear sentence, for as long as it helps."""

from dataclasses import replace

import pytest

from meter.capture import notices
from meter.capture.notices import NOTICE_S, Notices
from meter.capture.records import SourceInfo

DECK = SourceInfo(spec="device:Deck", name="Deck", rate_hz=48_000, channels=2)


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.04, "0.0 s"), (0.4, "0.4 s"), (59.94, "59.9 s"), (60.0, "1:00.0 min"), (125.0, "2:05.0 min")],
)
def test_a_length_is_written_for_people(seconds, text):
    assert notices.seconds_text(seconds) == text


def test_what_is_another_after_it_was_opened_again():
    other = replace(DECK, name="Headphones")
    assert notices.changed(DECK, DECK) == "Deck is back"
    assert notices.changed(DECK, other) == "now listening to Headphones"
    assert (
        notices.changed(DECK, replace(other, rate_hz=44_100))
        == "now listening to Headphones at 44100 Hz with 2 channels; measuring starts anew"
    )
    assert (
        notices.changed(DECK, replace(DECK, channels=1))
        == "Deck now runs at 48000 Hz with 1 channel; measuring starts anew"
    )


def test_nothing_is_said_when_nothing_happened():
    assert Notices().sentence(100.0, lost_s=0.0, slept_s=0.0) is None


def test_what_happened_is_said_for_a_while_with_what_was_lost_by_it():
    told = Notices()
    told.sentence(90.0, lost_s=5.0, slept_s=0.0)
    told.happened("Deck is back", 100.0)
    assert told.sentence(100.0, lost_s=5.0, slept_s=0.0) == "Deck is back"
    assert told.sentence(101.0, lost_s=7.0, slept_s=0.0) == "Deck is back; 2.0 s were lost"
    assert told.sentence(101.0 + NOTICE_S - 0.1, lost_s=7.0, slept_s=0.0) == "Deck is back; 2.0 s were lost"
    assert told.sentence(101.0 + NOTICE_S, lost_s=7.0, slept_s=0.0) is None


def test_a_loss_without_a_reason_is_said_by_itself_and_the_next_one_starts_from_nothing():
    told = Notices()
    told.happened("Deck is back", 0.0)
    advice = "of sound came too late to be kept; close what keeps the computer busy if it comes again"
    assert told.sentence(100.0, lost_s=1.5, slept_s=0.0) == f"1.5 s {advice}"
    assert told.sentence(101.0, lost_s=2.0, slept_s=0.0) == f"2.0 s {advice}"
    assert told.sentence(200.0, lost_s=2.3, slept_s=0.0) == f"0.3 s {advice}"


def test_sleep_is_said_with_what_was_lost_by_it():
    told = Notices()
    assert told.sentence(0.0, lost_s=0.0, slept_s=0.0) is None
    assert told.sentence(50.0, lost_s=42.0, slept_s=42.0) == "the computer slept for 42.0 s; 42.0 s were lost"
    assert told.sentence(100.0, lost_s=42.0, slept_s=42.0) is None
