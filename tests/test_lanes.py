from dataclasses import replace

import numpy as np
import pytest

from meter.capture.records import SourceInfo, SourceState, SourceStatus
from meter.chain import Chain
from meter.lanes import LANES, flags, lanes_for
from meter.live_text import block
from meter.now import Now
from meter.shown import NOT_KNOWN
from meter.soundings import BANDS
from meter.target_file import shipped_targets
from meter.targets import Limit, Target, judge
from meter.timeline import KEYS

RATE_HZ = 48_000
CLUB, EBU = (shipped_targets()[name] for name in ("club", "ebu-r128"))
INFO = SourceInfo(spec="system", name="what the system plays")
RUNNING = SourceState(status=SourceStatus.RUNNING, sentence=None, info=INFO, volume_db=0.0, is_muted=False)
LANE = {lane.key: lane for lane in LANES}


@pytest.fixture(scope="module")
def music():
    """Values as they stand in the middle of a tune."""
    chain = Chain(rate_hz=RATE_HZ, channels=2)
    chain.process(np.random.default_rng(1).standard_normal((4 * RATE_HZ, 2)) * 0.1)
    reading = replace(
        chain.reading(),
        momentary_lufs=-6.13,
        short_term_lufs=-5.97,
        integrated_lufs=-9.02,
        loudest_30s_lufs=-7.21,
        true_peak_max_dbtp=(-0.4, 0.31),
        correlation_3s=0.624,
        fold_loss_3s_db=dict(zip(BANDS, (-0.21, -0.12, None, -0.32, -3.0))),
        overs=3,
    )
    recent = chain.recent.rows.copy()
    recent["true_peak"] = 0.5
    return Now(
        state=RUNNING,
        rate_hz=RATE_HZ,
        channels=2,
        reading=reading,
        recent=recent,
        verdicts=judge(CLUB, reading, live=True),
        target=CLUB,
        pass_number=1,
    )


def texts(now, key):
    return [flag.text for flag in flags(now, LANE[key])]


def test_each_lane_asks_a_question_of_the_text_meter_and_draws_series_that_exist(music):
    shown = "\n".join(block(music, "a sentence"))
    assert [lane.question for lane in LANES] == [
        "How loud?",
        "Any overs?",
        "Left and right?",
        "Lost in mono?",
    ]
    for lane in LANES:
        assert lane.question in shown
        assert {one.key for one in lane.series} <= set(KEYS)
        assert lane.series[0].role == "main"
        assert lane.lowest <= min(lane.ticks) < max(lane.ticks) <= lane.highest
        assert flags(music, lane)[0].key == lane.series[0].key


def test_the_flags_say_what_the_text_meter_says(music):
    assert texts(music, "loudness") == ["S -5.97 LUFS ▲ over", "loudest 30 s -7.2 LUFS ✓ inside"]
    assert texts(music, "peak") == ["peak, 3 s -6.0 dBTP", "highest +0.3 dBTP ▲ over", "3 overs"]
    assert texts(music, "sides") == ["r 0.62 ✓ inside"]
    assert texts(music, "mono") == ["below 120 Hz -0.3 dB ✓ inside"]


def test_one_over_is_one_over(music):
    one = replace(music, reading=replace(music.reading, overs=1))
    none = replace(music, reading=replace(music.reading, overs=0))
    assert texts(one, "peak")[2:] == ["1 over"]
    assert texts(none, "peak")[2:] == []


def test_without_a_target_there_is_no_verdict(music):
    bare = replace(music, target=None, verdicts={})
    for lane in LANES:
        assert {(flag.glyph, flag.word) for flag in flags(bare, lane)} == {("", "")}
        assert lane.band(None) is None


def test_withheld_verdicts_are_not_shown(music):
    quieter = replace(music, state=replace(RUNNING, volume_db=-12.0), verdicts={})
    assert texts(quieter, "loudness") == ["S -6.0 LUFS", "loudest 30 s -7.2 LUFS"]


def test_what_passes_is_not_known_while_nothing_is_heard_and_has_no_verdict_then(music):
    held = replace(music, is_held=True)
    assert texts(held, "loudness") == [f"S {NOT_KNOWN} LUFS", "loudest 30 s -7.2 LUFS ✓ inside"]
    assert texts(held, "peak")[0] == f"peak, 3 s {NOT_KNOWN} dBTP"
    assert texts(held, "sides") == [f"r {NOT_KNOWN}"]
    assert texts(held, "mono") == [f"below 120 Hz {NOT_KNOWN} dB"]


def test_before_anything_was_heard_nothing_is_known():
    for lane in LANES:
        assert all(flag.value_text == NOT_KNOWN for flag in flags(Now(state=RUNNING), lane))


def test_silence_is_shown_as_silence(music):
    silent = replace(music, reading=replace(music.reading, short_term_lufs=-np.inf))
    assert flags(silent, LANE["loudness"])[0].value_text == "-∞"


def test_one_channel_has_nothing_to_compare(music):
    mono = replace(music, channels=1)
    assert texts(mono, "sides") == ["one channel"]
    assert texts(mono, "mono") == ["nothing"]


def test_the_band_of_a_lane_is_what_the_target_allows():
    assert LANE["loudness"].band(CLUB) == Limit(min=-8.0, max=-6.0)
    assert LANE["peak"].band(CLUB) == Limit(max=0.0)
    assert LANE["sides"].band(CLUB) == Limit(min=0.0)
    assert LANE["mono"].band(CLUB) == Limit(min=-1.0)
    assert LANE["loudness"].band(EBU) == Limit(min=-24.0, max=-22.0)  # as long as it plays
    assert LANE["sides"].band(EBU) is None


def test_the_measure_that_the_target_limits_is_the_second_flag(music):
    ebu = replace(music, target=EBU, verdicts=judge(EBU, music.reading, live=True))
    # R 128 does not limit S.
    assert texts(ebu, "loudness") == ["S -6.0 LUFS", "integrated -9.0 LUFS ▲ over"]


def test_the_crossover_of_the_user_is_in_the_name(music):
    assert texts(replace(music, crossover_hz=90.0), "mono") == ["below 90 Hz -0.3 dB ✓ inside"]


def test_a_target_of_ones_own_bands_the_lane_of_its_measure():
    own = Target(name="own", title="Own", source="made up", limits={"momentary_max_lufs": Limit(max=-4.0)})
    assert LANE["loudness"].band(own) == Limit(max=-4.0)


@pytest.mark.parametrize(
    ("limit", "lowest"),
    [
        (None, -24.0),
        (Limit(min=-8.0, max=-6.0), -24.0),
        (Limit(min=-12.5), -30.0),
        (Limit(min=-23.2, max=-22.8), -36.0),
        (Limit(max=-23.0), -36.0),
    ],
)
def test_the_axis_of_loudness_shows_the_target_and_what_lies_below(limit, lowest):
    limits = {} if limit is None else {"integrated_lufs": limit}
    (loudness, *others) = lanes_for(replace(CLUB, limits=limits))
    assert (loudness.lowest, loudness.highest) == (lowest, 0.0)
    assert loudness.ticks == tuple(np.arange(lowest, 1.0, 6.0))
    assert others == list(LANES[1:])
