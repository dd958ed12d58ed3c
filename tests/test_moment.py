import time

import numpy as np
import pytest

from meter.chosen_part import part_lines
from meter.findings import Finder
from meter.lanes import LANES, Flag
from meter.moment import moment_lines, spoken, where_lines
from meter.pass_cutter import PassCutter
from meter.soundings import as_text_time
from tests.support.session import Session, timeline_of
from tests.support.sound import noise, silence, tone

LANE = {lane.key: lane for lane in LANES}


@pytest.fixture(scope="module")
def timeline():
    """A tone of -12 dBFS whose right side is as loud; one over at 8 s."""
    samples = tone(80.0, 20.0)
    samples[8 * 48_000 : 8 * 48_000 + 20] = 1.2
    return timeline_of(samples)


def test_a_moment_is_told_with_its_time_its_pass_and_all_its_numbers(timeline):
    momentary, short_term, peak = (
        float(timeline.values(key, 80, 81)[0])
        for key in ("momentary_lufs", "short_term_lufs", "true_peak_dbtp")
    )
    began_unix_s = timeline.runs[0].live_pass.began_unix_s
    assert moment_lines(timeline, 80, pass_number=3) == [
        "0:08.0, pass 3",
        time.strftime("%H:%M:%S by the clock", time.localtime(began_unix_s + 8.0)),
        f"M {momentary:.1f} LUFS",
        f"S {short_term:.1f} LUFS",
        f"true peak +{peak:.1f} dBTP",
        "1 over here",
        "r 1.00 over 3 s",
        "lost in mono over 3 s:",
        "below 120 Hz 0.0 dB",
        "20-60 Hz 0.0 dB",
        "60-120 Hz 0.0 dB",
        "120-250 Hz 0.0 dB",
    ]
    assert moment_lines(timeline, 80)[0] == "0:08.0"


def test_where_a_moment_is_is_told_from_the_beginning_of_the_pass_in_the_list():
    session = Session()
    for part in (noise(3.0, seed=1), silence(7.0), noise(4.0, seed=2)):
        session.hear(part)
    timeline, cutter = session.finish(), PassCutter()
    cutter.take(timeline)
    timeline.listed = tuple(one.first_slot for one in cutter.passes)
    first, second = timeline.listed
    assert (first, second) == (0, pytest.approx(97, abs=3))
    assert moment_lines(timeline, second + 12, pass_number=2)[0] == "0:01.2, pass 2"
    assert moment_lines(timeline, 20)[0] == "0:02.0"
    assert timeline.origin_slot(second + 12) == second and timeline.origin_slot(20) == 0
    assert part_lines(timeline, second + 10, second + 20)[0] == "0:01.0 to 0:02.0"
    live_pass = timeline.runs[0].live_pass
    at_s = live_pass.began_unix_s + (second + 12) / 10.0
    clock = time.strftime("%H:%M:%S", time.localtime(at_s))
    assert where_lines(timeline, second + 12, pass_number=2) == ["pass 2", clock]
    live_pass.began_unix_s = 0.0  # as a file has it
    assert where_lines(timeline, second + 12) == []


def test_findings_are_told_from_the_beginning_of_the_pass_in_the_list():
    session, over = Session(), noise(4.0, seed=2)
    over[48_000 : 48_000 + 20] = 1.2
    for part in (noise(3.0, seed=1), silence(7.0), over, silence(6.0)):
        session.hear(part)
    timeline, cutter = session.finish(), PassCutter()
    listed, alone = Finder(cutter=cutter), Finder()
    for finder in (listed, alone):
        finder.take(timeline)
    second = cutter.passes[1].first_slot / 10.0
    (told,), (plain,) = ([f for f in one.findings if f.kind == "over"] for one in (listed, alone))
    assert plain.at_s == pytest.approx(11.0) and "at 0:11.0" in plain.text
    assert told.at_s == pytest.approx(11.0 - second) and told.at_slot == plain.at_slot == 110
    assert f"at {as_text_time(told.at_s)}" in told.text


def test_what_is_not_known_yet_and_silence_are_told_as_such():
    assert moment_lines(timeline_of(noise(4.0, seed=1)), 1)[2:4] == ["M -- LUFS", "S -- LUFS"]
    lines = moment_lines(timeline_of(silence(4.0)), 35)
    assert lines[2:6] == ["M -∞ LUFS", "S -∞ LUFS", "true peak -∞ dBTP", "r -- over 3 s"]


def test_one_channel_has_nothing_to_compare():
    lines = moment_lines(timeline_of(noise(4.0, seed=1, channels=1)), 35)
    assert lines[5:] == ["one channel: nothing to compare"]


def test_where_nothing_was_measured_it_is_said_why():
    session = Session()
    session.hear(noise(2.0, seed=1))
    session.source.lose(96_000)
    session.hear(noise(2.0, seed=2))
    session.command("hold", True)
    session.hear(noise(2.0, seed=3))
    session.command("hold", False)
    session.hear(noise(2.0, seed=4))
    timeline = session.finish()
    assert moment_lines(timeline, 30) == ["nothing was measured here: 2.0 s lost"]
    assert moment_lines(timeline, 70) == ["nothing was measured here: 2.0 s held"]
    for outside in (-1, timeline.slots, 10_000):
        assert moment_lines(timeline, outside) == ["nothing was measured here"]


def test_a_lane_is_told_in_words_with_its_flags_and_the_range_of_its_newest_minute(timeline):
    flag = Flag(key="short_term_lufs", name="S", value_text="-8.3", unit="LUFS", glyph="✓", word="inside")
    values = timeline.values("short_term_lufs", 29, 200)
    low, high = (f"{value:.1f}" for value in (values.min(), values.max()))
    assert spoken(timeline, LANE["loudness"], [flag]) == (
        f"How loud? S -8.3 LUFS, inside; S short-term in the newest minute between {low} and {high} LUFS"
    )


def test_a_value_that_is_not_known_is_told_in_words():
    flag = Flag(key="correlation", name="r", value_text="--", unit="")
    assert spoken(None, LANE["sides"], [flag]) == "Left and right? r not known"


def test_an_empty_lane_says_so():
    assert spoken(None, LANE["mono"]) == "Lost in mono? nothing yet"
    assert spoken(timeline_of(silence(1.0)), LANE["mono"]) == "Lost in mono? nothing yet"


def test_what_lies_under_the_axis_is_not_told_as_a_number():
    quiet = np.concatenate([tone(997.0, 5.0), tone(997.0, 5.0, level_dbfs=-90.0)])
    assert spoken(timeline_of(quiet), LANE["loudness"]).startswith(
        "How loud? S short-term in the newest minute up to -"
    )
