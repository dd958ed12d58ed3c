"""What the page is told of a moment: the words, and above all what is not shown."""

import json
import time
from dataclasses import replace

import numpy as np
import pytest

from meter.capture.records import SourceStatus
from meter.now import Now
from meter.second_screen.page_now import STILL_S, PageNow, ended_event, event, rope
from meter.set_watch import SetNow
from tests.second_screen.moments import CLUB, heard, noise
from tests.support.fake_source import FakeSource


@pytest.fixture(scope="module")
def moment():
    """Four seconds of noise, loud but not over."""
    return heard(noise(4.0))


def look(now, **clocks):
    return PageNow(**clocks).look(now)


def values(made):
    return {name: tile["value"] for name, tile in made["tiles"].items()}


def test_every_number_of_a_moment_is_there_with_its_unit(moment):
    made = look(moment)
    reading = moment.reading
    shown = values(made)
    assert shown["short_term"] == f"{reading.short_term_lufs:.1f}".replace("-", "−")
    assert shown["integrated"] == f"{reading.integrated_lufs:.1f}".replace("-", "−")
    assert shown["correlation"] == f"{reading.correlation_3s:.2f}"
    peak_dbtp = max(reading.true_peak_max_dbtp)
    assert shown["true_peak"] == f"{peak_dbtp:.1f}".replace("-", "−")
    assert shown["room"] == f"{-peak_dbtp:.1f}"
    assert (shown["last_over"], shown["time_over"]) == ("none", "0.0")
    units = {name: tile["unit"] or tile["suffix"] for name, tile in made["tiles"].items()}
    assert units == {
        "short_term": "LUFS",
        "room": "dB",
        "true_peak": "dBTP",
        "last_over": "",
        "time_over": "%",
        "integrated": "LUFS",
        "correlation": "",
    }
    assert (made["notice"], made["is_over"]) == ("", False)
    assert made["target"] == "held against Club"
    assert made["source"] == "a made-up input · 0:04"


def test_s_is_held_against_the_ceiling(moment):
    away_lu = abs(moment.reading.short_term_lufs + 6.0)
    assert look(moment)["tiles"]["short_term"]["more"] == f"{away_lu:.1f} LU below the ceiling"
    loud = look(heard(noise(4.0, gain=0.5)))["tiles"]["short_term"]
    assert loud["verdict"] == "▲ over" and loud["more"].endswith("LU above the ceiling")
    assert look(heard(noise(0.5)))["tiles"]["short_term"]["more"] == "ceiling −6.0 LUFS"
    assert look(heard(noise(4.0), target=None))["tiles"]["short_term"]["more"] == "no ceiling is set"


def test_while_the_volume_is_not_0_db_nothing_is_judged():
    made = look(heard(noise(4.0, gain=0.5), volume_db=-6.0))
    assert {tile["verdict"] for tile in made["tiles"].values()} == {""}
    assert not any(tile["calls"] for tile in made["tiles"].values())
    assert made["tiles"]["short_term"]["more"] == "ceiling −6.0 LUFS"
    assert "over" not in made["tiles"]["true_peak"]["more"]
    assert "system volume is at -6.0 dB" in made["sentence"]


def test_an_over_calls_and_then_grows_old(moment):
    of_set = replace(moment.of_set, seconds=100.0, overs=3, last_over_s=98.0, highest_dbtp=0.04)
    tiles = look(replace(moment, of_set=of_set))["tiles"]
    assert tiles["last_over"] == {
        "value": "2",
        "suffix": "s",
        "unit": "ago",
        "verdict": "▲ over",
        "more": "3 overs so far",
        "calls": True,
    }
    assert (tiles["room"]["value"], tiles["room"]["verdict"]) == ("−0.04", "▲ over")
    old = look(replace(moment, of_set=replace(of_set, seconds=1000.0)))["tiles"]["last_over"]
    assert (old["value"], old["suffix"], old["calls"]) == ("15", "min", False)


@pytest.mark.parametrize(
    ("changes", "notice"),
    [
        ({"status": SourceStatus.LOST, "sentence": "it has gone"}, "Lost the source"),
        ({"status": SourceStatus.OPENING}, "Opening the source"),
        ({"status": SourceStatus.ENDED}, "The source has ended"),
    ],
)
def test_without_a_source_no_passing_number_is_left(moment, changes, notice):
    of_set = replace(moment.of_set, overs=1, last_over_s=1.0)
    made = look(replace(moment, state=replace(moment.state, **changes), of_set=of_set))
    assert made["notice"] == notice
    shown = values(made)
    for name in ("short_term", "room", "true_peak", "last_over", "correlation"):
        assert shown[name] == "--", name
    assert shown["integrated"] != "--" and made["rope"]["at"] is None
    if "sentence" in changes:
        assert made["sentence"] == "it has gone"


def test_held_and_unmeasurable_are_said(moment):
    assert look(replace(moment, is_held=True))["notice"] == "Held"
    assert look(replace(moment, problem="too many channels"))["notice"] == "This cannot be measured"


def test_a_source_that_runs_and_brings_nothing_new_is_told_from_one_that_does(moment):
    clock_s = [100.0]
    page = PageNow(steady_s=lambda: clock_s[0], wall_s=lambda: 0.0)
    page.look(moment)
    clock_s[0] += STILL_S
    assert values(page.look(moment))["short_term"] != "--"
    clock_s[0] += 0.1
    made = page.look(moment)
    assert made["notice"].startswith("No sound since ")
    assert values(made)["short_term"] == values(made)["true_peak"] == "--"
    later = replace(moment, reading=replace(moment.reading, at_s=moment.reading.at_s + 0.1))
    assert page.look(later)["notice"] == ""
    clock_s[0] += 100.0  # silence by the user's wish is no alarm
    assert page.look(replace(later, is_held=True))["notice"] == "Held"


def test_silence_is_told_with_its_hour(moment):
    silent = replace(moment, of_set=replace(moment.of_set, silent_s=90.0, music_s=60.0))
    expected = time.strftime("%H:%M:%S", time.localtime(1_000_000.0 - 90.0))
    assert look(silent, wall_s=lambda: 1_000_000.0)["notice"] == f"No sound since {expected}"
    assert look(replace(moment, of_set=SetNow(silent_s=4.0)))["notice"] == "No sound yet"


def test_one_channel_has_nothing_to_compare():
    made = look(heard(noise(4.0, channels=1)))["tiles"]["correlation"]
    assert (made["value"], made["more"]) == ("--", "one channel")


def test_before_anything_was_heard_all_is_unknown():
    made = look(Now(state=FakeSource().state()))
    assert set(values(made).values()) == {"--"}
    assert made["target"] == "no target"


def test_digital_silence_can_be_told():
    made = look(heard(np.zeros((4 * 48_000, 2), np.float32)))
    assert made["notice"] == "No sound yet"
    assert values(made)["short_term"] == "−∞"
    assert made["rope"]["at"] == 0.0
    json.loads(event(made).removeprefix(b"data: "))


def test_the_rope_lies_between_0_and_1(moment):
    made = rope(moment)
    assert made["band"] == pytest.approx([16 / 24, 18 / 24])  # -8 to -6 on an axis from -24 to 0
    assert made["at"] == pytest.approx((moment.reading.short_term_lufs + 24.0) / 24.0)
    assert made["ticks"][0] == [0.0, "−24"] and made["ticks"][-1] == [1.0, "0"]
    quiet = replace(moment, reading=replace(moment.reading, short_term_lufs=-90.0))
    assert rope(quiet)["at"] == 0.0
    assert rope(replace(moment, target=None))["band"] is None


def test_an_event_is_one_line_of_json(moment):
    made = event(look(moment))
    assert made.startswith(b"data: {") and made.endswith(b"}\n\n") and made.count(b"\n") == 2
    last = json.loads(ended_event().removeprefix(b"data: "))
    assert last == {"is_over": True, "notice": "Leadline has ended"}


def test_nothing_of_ears_is_on_it(moment):
    assert not any(word in event(look(moment)).lower() for word in (b"dba", b"dose", b"ear ", b"hearing"))


def test_the_target_of_these_tests_has_the_ceiling_that_they_speak_of():
    assert CLUB.limits_for(live=True)["loudest_30s_lufs"].max == -6.0
