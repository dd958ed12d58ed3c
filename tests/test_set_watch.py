"""A set as it is watched, on made-up soundings whose truth is plain."""

import math
import pickle
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.capture.records import SourceInfo, SourceState, SourceStatus
from meter.live_pass import LivePass
from meter.now import Now
from meter.sentence import sentence
from meter.sentence_kinds import Kind
from meter.set_lanes import file_set_flags, set_flags, set_lanes
from meter.set_sentences import calls
from meter.set_settings import SetSettings
from meter.set_watch import SetNow, SetWatch
from meter.set_words import age, set_line, share_text
from meter.soundings import AFTER_GAP, SOUNDING
from meter.target_file import shipped_targets
from meter.time_over import RECENT_S, TimeOver
from meter.timeline import KEYS
from meter.tunes.live import Jump, LiveJumps
from meter.units import db_to_amplitude, lufs_to_power
from tests.tunes.made_sets import made_set

RATE_HZ = 48_000
FRAMES = 4_800
SETTINGS = SetSettings()


def live_pass(number=1, *, spec="system", began_s=0.0, limit_dbtp=0.0):
    return LivePass(
        number=number,
        info=SourceInfo(spec=spec, name=spec),
        rate_hz=RATE_HZ,
        channels=2,
        weights=(1.0, 1.0),
        crossover_hz=120.0,
        over_limit_dbtp=limit_dbtp,
        began_unix_s=1000.0 + began_s,
    )


def rows_of(count, *, first=0, lufs=-10.0, peak_dbtp=-1.0, **columns):
    """So many soundings of equal loudness; columns by name, a number or one for each."""
    rows = np.zeros(count, SOUNDING)
    rows["start_frame"] = FRAMES * (first + np.arange(count))
    rows["frames"] = FRAMES
    rows["k_power"][:, :2] = 0.5 * lufs_to_power(lufs)
    for key in ("true_peak", "sample_peak"):
        rows[key][:, :2] = db_to_amplitude(peak_dbtp)
    for name, values in columns.items():
        column = rows[name]
        column[:] = np.reshape(values, (-1, 1)) if column.ndim == 2 else values
    return rows


def watched(*parts):
    """A watch that took these rows, all of one pass."""
    watch, one = SetWatch(), live_pass()
    for rows in parts:
        watch.take(rows, one)
    return watch


# --- time over


@st.composite
def histories(draw):
    """Soundings with holes between them: their numbers, and what is wrong in each."""
    steps = draw(st.lists(st.sampled_from([1] * 8 + [3, 40, 900, 7000]), min_size=1, max_size=150))
    kinds = draw(st.lists(st.sampled_from(["", "", "", "over", "high", "few", "long"]), min_size=len(steps)))
    return np.cumsum(steps), kinds


def at_once(numbers, kinds):
    """The same counts from all soundings together, by the second."""
    heard, over, tops = set(), set(), {}
    for number, kind in zip(numbers, kinds):
        second = int(number) // 10
        heard.add(second)
        tops[second] = tops.get(second, 0) + (2 if kind == "few" else 0)
        if kind in ("over", "high", "long") or tops[second] >= 4:
            over.add(second)
    last = int(numbers[-1]) // 10
    recent = range(last - RECENT_S + 1, last + 1)
    return len(heard), len(over), len(heard & set(recent)), len(over & set(recent))


@given(histories(), st.integers(1, 7))
def test_time_over_counted_as_it_comes_is_that_of_all_at_once(history, together):
    numbers, kinds = history
    kinds = kinds[: len(numbers)]
    rows = rows_of(len(numbers))
    rows["start_frame"] = FRAMES * numbers
    rows["overs"] = [kind == "over" for kind in kinds]
    rows["true_peak"][:, 0] = [1.02 if kind == "high" else 0.9 for kind in kinds]
    rows["flat_tops"] = [{"few": 2, "long": 1}.get(kind, 0) for kind in kinds]
    rows["flat_frames"] = [{"few": 4, "long": 12}.get(kind, 0) for kind in kinds]
    counted = TimeOver()
    shares = []
    for at in range(0, len(rows), together):
        part = rows[at : at + together]
        shares += counted.take(part, start_s=0.0, rate_hz=RATE_HZ, limit_dbtp=0.0)
    found = counted.heard_s, counted.over_s, counted.recent_heard_s, counted.recent_over_s
    assert found == at_once(numbers, kinds)
    assert shares[-1] == found[3] / found[2]


def test_what_was_over_is_forgotten_after_ten_minutes_but_not_by_the_set():
    watch = watched(rows_of(20, overs=[1] + [0] * 19))
    assert watch.now.recent_over_pct == 50.0
    watch.take(rows_of(5_985, first=20), watch._pass)
    assert (watch.now.recent_over_s, watch.now.over_s, watch.now.heard_s) == (0, 1, 601)
    late = watched(rows_of(1, first=10, overs=1), rows_of(1, first=12_000))  # the same place of a ring
    assert (late.now.recent_over_s, late.now.recent_heard_s, late.now.over_s) == (0, 1, 1)


def test_hours_take_no_more_memory_than_one(monkeypatch):
    monkeypatch.setattr(LiveJumps, "_newest", lambda self: None)  # takes time, and keeps nothing
    sizes = []
    watch, one = SetWatch(), live_pass()
    for minute in range(180):
        watch.take(rows_of(600, first=minute * 600, overs=[1] + [0] * 599), one)
        if minute % 60 == 59:
            sizes.append(len(pickle.dumps([watch._time_over, watch._jumps, watch._peaks, watch._flat])))
    assert max(sizes) < 1.01 * sizes[0] < 40_000
    assert (watch.now.heard_s, watch.now.over_s, watch.now.overs) == (3 * 3600, 180, 180)


# --- overs, room, silence, drop-outs, flat tops


def test_the_age_of_the_last_over_grows_until_the_next():
    watch = watched(rows_of(1, overs=1, peak_dbtp=0.4), rows_of(421, first=1))
    assert watch.now.over_age_s == pytest.approx(42.1)
    assert watch.now.room_db == pytest.approx(-0.4, abs=1e-4)  # of the newest minute
    watch.take(rows_of(200, first=422), watch._pass)
    assert watch.now.room_db == pytest.approx(1.0, abs=1e-4)
    assert watch.now.overs == 1


def test_while_nothing_comes_the_last_over_becomes_older():
    clock_s = [100.0]
    watch, one = SetWatch(clock=lambda: clock_s[0]), live_pass()
    watch.take(rows_of(100, overs=[1] + [0] * 99, dropouts=[1] + [0] * 99, dropout_frames=480), one)
    clock_s[0] += 0.9
    assert watch.look() is watch.now, "soundings come ten times a second: nothing is still yet"
    clock_s[0] += 30.2
    assert watch.look().over_age_s == pytest.approx(9.9 + 31.0)
    assert watch.look(has_ended=True) is watch.now
    now = now_of(watch.look())
    assert set_line(now, SETTINGS).startswith("last over 41 s ago, ")
    assert set_flags(now, SETTINGS)["time_over"][0].text == "last over 41 s ago"
    assert sentence(now_of(watch.now)).kind is Kind.DROPOUT
    assert sentence(now).kind is Kind.LOUDNESS, "a drop-out is no news any more"
    assert now.of_set.room_db == pytest.approx(1.0, abs=1e-4)
    assert replace(now.of_set, still_s=60.0).room_db is None, "nothing is known of the newest minute"
    watch.take(rows_of(10), live_pass(2, began_s=42.0))
    assert watch.look().over_age_s == pytest.approx(42.9), "as the clock on the wall has it"


def test_silence_is_an_alarm_after_music_only():
    silence = {"lufs": -120.0, "peak_dbtp": -120.0}
    assert not watched(rows_of(200, **silence)).now.is_dead_air
    watch = watched(rows_of(120), rows_of(29, first=120, **silence))
    assert not watch.now.is_dead_air
    watch.take(rows_of(1, first=149, **silence), watch._pass)
    assert watch.now.is_dead_air
    watch.take(rows_of(1, first=150), watch._pass)
    assert not watch.now.is_dead_air


def test_flat_tops_below_full_scale_are_told_with_their_level():
    clipped = rows_of(10, peak_dbtp=-3.2, flat_tops=1, flat_frames=5)
    assert watched(clipped[:3]).now.flat_at_dbfs is None  # three may be chance
    watch = watched(clipped)
    assert watch.now.flat_tops == 10
    assert watch.now.flat_at_dbfs == pytest.approx(-3.2, abs=1e-3)
    watch.take(rows_of(110, first=10), watch._pass)
    assert watch.now.flat_at_dbfs is None
    at_full_scale = rows_of(10, peak_dbtp=0.0, flat_tops=1, flat_frames=5)
    assert watched(at_full_scale).now.flat_at_dbfs is None


@settings(max_examples=20)
@given(st.integers(0, 99), st.lists(st.integers(1, 249), max_size=6))
def test_soundings_in_any_pieces_come_to_the_same(seed, cuts):
    rng = np.random.default_rng(seed)
    rows = rows_of(250)
    rows["start_frame"] += FRAMES * np.cumsum(rng.choice([0, 0, 0, 0, 35], 250))
    rows["k_power"][:, :2] *= rng.choice([0.0, 1.0, 2.0], (250, 1))
    rows["true_peak"][:, 0] = rng.uniform(0.5, 1.001, 250)
    for name in ("overs", "flat_tops", "dropouts"):
        rows[name] = rng.random(250) < 0.02
    rows["dropout_frames"] = 480 * rows["dropouts"]
    whole = watched(rows).now
    pieces = np.split(rows, sorted(cuts))
    assert watched(*pieces).now == whole


# --- passes


def test_a_set_goes_on_over_a_source_that_comes_back():
    watch = SetWatch()
    watch.take(rows_of(100, overs=[1] + [0] * 99), live_pass(1))
    watch.take(rows_of(10), live_pass(2, began_s=60.0))
    assert watch.now.overs == 1
    assert watch.now.over_age_s == pytest.approx(60.9)
    assert watch.now.heard_s == 11


@pytest.mark.parametrize("how", ["marked", "another source"])
def test_a_mark_or_another_source_begins_another_set(how):
    watch = SetWatch()
    watch.take(rows_of(100, overs=[1] + [0] * 99), live_pass(1))
    if how == "marked":
        watch.begin_anew()
        watch.take(rows_of(10, first=100), watch._pass)
        assert watch.now.overs == 1  # what is on the way still belongs to it
    watch.take(rows_of(10), live_pass(2, spec="system" if how == "marked" else "demo"))
    assert (watch.now.overs, watch.now.last_over_s, watch.now.heard_s) == (0, None, 1)


def test_a_gap_leaves_no_window_over_both_its_sides():
    rows = rows_of(60)
    rows["start_frame"][30:] += 20 * RATE_HZ
    rows["flags"][30] = AFTER_GAP
    watch = watched(rows)
    known = [value for value in watch._jumps._lufs if not math.isnan(value)]
    assert watch.now.seconds == pytest.approx(26.0)
    assert watch.now.heard_s == 6
    assert len(watch._jumps._lufs) == 25
    assert known == pytest.approx([-10.0], abs=1e-3)  # the third second; the last one is still open


# --- is the next tune louder?


def told(lufs):
    jumps, found = LiveJumps(), []
    for value in lufs:
        before = jumps.jump
        jumps.take(float(value))
        if jumps.jump is not None and (before is None or jumps.jump.told_s != before.told_s):
            found.append(jumps.jump)
    return found


def test_a_louder_tune_is_told_within_two_minutes_of_the_blend():
    made = made_set(3, jumps=[1.6])
    at_s = made.blends[0][0]
    (jump,) = told(made.short_term_lufs)
    assert jump.at_s == pytest.approx(at_s, abs=12.0)
    assert 40.0 <= jump.told_s - at_s <= 120.0
    assert jump.size_db == pytest.approx(1.6, abs=0.4)


def test_a_watch_finds_the_jump_in_its_soundings():
    made = made_set(3, jumps=[1.6])
    lufs = np.repeat(made.short_term_lufs[3:], 10)
    rows = rows_of(len(lufs))
    rows["k_power"][:, :2] = 0.5 * np.array([[lufs_to_power(value)] for value in lufs])
    jump = watched(rows).now.jump
    assert jump.at_s == pytest.approx(made.blends[0][0] - 3.0, abs=12.0)
    assert jump.size_db == pytest.approx(1.6, abs=0.4)


def test_tunes_that_are_equally_loud_are_no_jump():
    assert told(made_set(4, jumps=[0.3, -0.4]).short_term_lufs) == []


def test_the_trim_that_was_asked_for_is_no_jump():
    made = made_set(3, jumps=[2.0])
    lufs = made.short_term_lufs.copy()
    (jump,) = told(lufs)
    lufs[round(jump.told_s) + 20 :] -= 2.0
    assert [one.told_s for one in told(lufs)] == [jump.told_s]


# --- how it is said


def now_of(of_set=None, **known):
    state = SourceState(
        status=SourceStatus.RUNNING,
        sentence=None,
        info=SourceInfo(spec="system", name="what the system plays"),
        volume_db=0.0,
        is_muted=False,
    )
    lufs = dict.fromkeys(("short_term_lufs", "momentary_lufs", "loudest_30s_lufs"), -9.0)
    reading = SimpleNamespace(at_s=100.0, overs=0, **lufs)
    values = {"reading": reading, "rate_hz": RATE_HZ, "channels": 2, "recent": rows_of(30, peak_dbtp=-1.2)}
    return Now(state=state, of_set=of_set, **(values | known))


@pytest.mark.parametrize(
    ("known", "kind", "text"),
    [
        (
            {"music_s": 60.0, "silent_s": 4.2},
            Kind.DEAD_AIR,
            "silence for 4 s: look at fader, deck and cable",
        ),
        ({"jump": Jump(at_s=50.0, size_db=1.62, told_s=90.0)}, Kind.JUMP, "this tune +1.6 dB on the last"),
        ({"flat_tops": 9, "flat_at_dbfs": -3.21}, Kind.FLAT, "something clipped before us at -3.2 dBFS"),
        ({"last_over_s": 58.0, "highest_dbtp": -1.24}, Kind.LOUDNESS, "last over 42 s ago, 1.2 dB of room"),
        ({}, Kind.LOUDNESS, "no over so far"),
    ],
)
def test_the_sentence_says_what_matters_most_in_few_words(known, kind, text):
    found = sentence(now_of(SetNow(seconds=100.0, **known)))
    assert found.kind is kind
    assert found.text.startswith(text)
    assert len(found.text) < 90


def test_a_dropout_is_told_for_ten_seconds():
    rows = rows_of(30, dropouts=[0] * 29 + [1], dropout_frames=[0] * 29 + [1104])
    watch = watched(rows)
    text = "dropped out for 23 ms, 0 s ago: look at cable and player"
    assert sentence(now_of(watch.now)).text == text
    watch.take(rows_of(110, first=30), watch._pass)
    assert sentence(now_of(watch.now)).kind is Kind.LOUDNESS


def test_what_cannot_wait_calls_in_a_set_only():
    of_set = SetNow(seconds=100.0, music_s=60.0, silent_s=5.0)
    assert calls(now_of(of_set), sentence(now_of(of_set)).kind)
    assert not calls(now_of(), Kind.DEAD_AIR)
    assert not calls(now_of(SetNow()), sentence(now_of(SetNow())).kind)
    lost = replace(now_of(of_set).state, status=SourceStatus.LOST)
    assert calls(replace(now_of(of_set), state=lost), Kind.SOURCE)
    assert not calls(now_of(of_set), Kind.SOURCE)


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0, "0 s ago"), (42.4, "42 s ago"), (99.6, "2 min ago"), (5_969, "99 min ago"), (7_200, "2.0 h ago")],
)
def test_an_age_has_few_digits(seconds, said):
    assert " ".join(age(seconds)) == said


@pytest.mark.parametrize(
    ("share", "said"), [(0, "0.0"), (0.01, "<0.1"), (3.44, "3.4"), (42.3, "42"), (99.9, "99"), (100, "100")]
)
def test_some_is_never_said_as_none_and_not_all_never_as_all(share, said):
    assert share_text(share) == said


def test_each_lane_draws_series_that_exist_and_its_scale_is_the_mixers():
    lanes = set_lanes(shipped_targets()["club"], SETTINGS)
    assert [lane.question for lane in lanes] == ["How loud?", "Am I over?", "How much room?"]
    for lane in lanes:
        assert {one.key for one in lane.series} <= set(KEYS)
        assert lane.lowest <= min(lane.ticks) < max(lane.ticks) <= lane.highest
    room = set_lanes(None, SetSettings(mixer_zero_dbfs=-15.0))[2]
    assert dict(zip(room.tick_texts, room.ticks))["0"] == -15.0
    assert dict(zip(room.tick_texts, room.ticks))["+12"] == -3.0


def test_flags_and_the_line_of_text_say_the_same():
    watch = watched(rows_of(10, overs=[1] + [0] * 9, peak_dbtp=0.4), rows_of(420, first=10))
    now = now_of(watch.now)
    shown = {key: [flag.text for flag in found] for key, found in set_flags(now, SETTINGS).items()}
    assert shown["time_over"] == ["last over 42 s ago", "of 10 min 2.3 %, set 2.3 %"]
    assert shown["room"] == ["room, 1 min -0.4 dB ▲ over", "against my 0 +16.8 dB"]
    line = "last over 42 s ago, 2.3 % of 10 min, 2.3 % of the set, room -0.4 dB, +16.8 dB on my 0 = -18 dBFS"
    assert set_line(now, SETTINGS) == set_line(now, SETTINGS, beside=Kind.OVER) == line
    assert set_flags(now_of(), SETTINGS) == {}
    quieter = replace(now, state=replace(now.state, volume_db=-6.0))  # no verdict on what is heard
    assert set_flags(quieter, SETTINGS)["room"][0].text == "room, 1 min -0.4 dB"


@pytest.mark.parametrize("known", [{}, {"last_over_s": 58.0, "highest_dbtp": -1.24}])
def test_what_the_sentence_says_is_not_said_in_the_line_again(known):
    now = now_of(SetNow(seconds=100.0, heard_s=100, **known))
    said = sentence(now)
    line = set_line(now, SETTINGS, beside=said.kind)
    assert "over" in said.text and "over" not in line and "room" not in line
    assert line.endswith("of the set, +16.8 dB on my 0 = -18 dBFS")


def test_a_jump_flies_as_a_flag():
    of_set = SetNow(seconds=100.0, jump=Jump(at_s=20.0, size_db=-1.31, told_s=80.0))
    assert set_flags(now_of(of_set), SETTINGS)["loudness"][1].text == "on the last -1.3 dB ▼ quieter"


def test_a_file_has_its_time_over_and_its_room():
    one = live_pass()
    one.add(rows_of(100, overs=[2] + [0] * 99, peak_dbtp=-0.5), is_withheld=False)
    shown = file_set_flags(one)
    assert [flag.text for flag in shown["time_over"]] == ["of all 10 %", "2 overs"]
    assert [flag.text for flag in shown["room"]] == ["room of all 0.5 dB"]
