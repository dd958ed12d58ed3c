"""The worker, step by step, on frames that are known.

What it measures must be what the chain measures on the same frames, and what was lost, held or
marked must be where it was.
"""

import logging
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.capture.records import SourceStatus
from meter.chain import Chain
from meter.passes import summarise
from meter.soundings import AFTER_GAP, BEFORE_GAP, CUT_SHORT, Gap
from meter.targets import Limit, Target, Verdict
from meter.worker import Worker
from tests.support.fake_source import FakeSource

RATE_HZ = 48_000
CLUB = Target(name="club", title="Club", source="made up", limits={"true_peak_dbtp": Limit(max=-1.0)})


def noise(seconds, *, channels=2, rate_hz=RATE_HZ, seed=1, level=0.1):
    frames = round(seconds * rate_hz)
    return (np.random.default_rng(seed).standard_normal((frames, channels)) * level).astype(np.float32)


class Heard:
    """A worker on a fake source, and all it said."""

    def __init__(self, source=None, **how):
        self.source = FakeSource() if source is None else source
        self.rows, self.passes, self.readings = [], [], []
        self.worker = Worker(self.source, on_soundings=self._take, on_pass=self.passes.append, **how)

    def _take(self, rows):
        self.rows.append(rows.copy())
        self.readings.append(self.worker.now.reading)

    def hear(self, frames, *, hop=4800):
        for start in range(0, len(frames), hop):
            self.source.bring(frames[start : start + hop])
            self.worker.step()

    def command(self, name, *args):
        self.worker.step()
        getattr(self.worker, name)(*args)

    def finish(self):
        self.worker.step()
        self.worker.finish()
        return self

    @property
    def all_rows(self):
        return np.concatenate(self.rows)


def chain_rows(*parts, rate_hz=RATE_HZ, channels=2, is_excerpt=True, **how):
    """What the chain says of frames, and of gaps given as numbers."""
    chain = Chain(rate_hz=rate_hz, channels=channels, is_excerpt=is_excerpt, **how)
    made = [chain.gap(part) if isinstance(part, int) else chain.process(part) for part in parts]
    return np.concatenate([*made, chain.flush()])


def assert_same_rows(found, expected):
    assert len(found) == len(expected)
    for name in found.dtype.names:
        np.testing.assert_array_equal(found[name], expected[name], err_msg=name)


# --- the same as the chain


@settings(max_examples=15)
@given(hops=st.lists(st.integers(1, 20_000), min_size=1, max_size=12))
def test_however_the_frames_come_the_soundings_are_those_of_the_chain(hops):
    heard, sound, at = Heard(), noise(1.05), 0
    for hop in hops:
        heard.hear(sound[at : at + hop], hop=hop)
        at += hop
    heard.hear(sound[at:], hop=len(sound))
    assert_same_rows(heard.finish().all_rows, chain_rows(sound))


@pytest.mark.parametrize(("rate_hz", "channels"), [(44_100, 1), (11_025, 2), (96_000, 6)])
def test_other_rates_and_channel_counts_are_measured_alike(rate_hz, channels):
    heard = Heard(FakeSource(rate_hz=rate_hz, channels=channels))
    sound = noise(1.234, rate_hz=rate_hz, channels=channels)
    heard.hear(sound, hop=1000)
    assert_same_rows(heard.finish().all_rows, chain_rows(sound, rate_hz=rate_hz, channels=channels))


@pytest.mark.parametrize(
    ("spec", "is_excerpt"), [("system", True), ("device:a", True), ("file:a.wav", False), ("demo", False)]
)
def test_live_sound_has_no_onset_where_it_is_first_heard_but_a_file_has(spec, is_excerpt):
    sound = np.full((6000, 2), 0.9, np.float32)
    heard = Heard(FakeSource(spec=spec))
    heard.hear(sound)
    assert_same_rows(heard.finish().all_rows, chain_rows(sound, is_excerpt=is_excerpt))
    # A constant that comes out of silence, and ends in it, overshoots by a tenth.
    assert (heard.all_rows["true_peak"][:, 0] > 0.95).tolist() == [not is_excerpt] * 2


def test_every_sounding_comes_alone_with_the_reading_at_its_end_even_when_late():
    heard = Heard()
    heard.source.bring(noise(4.0))  # all at once, as after a stall
    heard.worker.step()
    assert [len(rows) for rows in heard.rows] == [1] * 40
    assert [reading.at_s for reading in heard.readings] == pytest.approx([0.1 * (k + 1) for k in range(40)])
    assert len({reading.momentary_lufs for reading in heard.readings[3:]}) == 37


def test_weights_of_the_source_are_used_and_kept_with_the_pass():
    heard = Heard(FakeSource(channels=2, weights=(1.0, 0.0)))
    heard.hear(noise(1.0))
    heard.finish()
    expected = summarise(heard.all_rows, rate_hz=RATE_HZ, channels=2, weights=(1.0, 0.0))
    assert heard.passes[0].weights == (1.0, 0.0)
    assert heard.passes[0].summary() == expected


# --- what is lost


def test_a_gap_is_where_it_was_and_no_sounding_holds_both_its_sides():
    before, after = noise(1.03), noise(0.5, seed=2)
    heard = Heard()
    heard.hear(before)
    heard.source.lose(96_000)
    heard.hear(after)
    rows = heard.finish().all_rows
    assert_same_rows(rows, chain_rows(before, 96_000, after))
    cut = np.flatnonzero(rows["flags"] & BEFORE_GAP)
    assert list(cut) == [10]
    assert rows["flags"][10] & CUT_SHORT and rows["flags"][11] & AFTER_GAP
    assert rows["start_frame"][11] == len(before) + 96_000
    assert heard.passes[0].gaps == [Gap(at_s=1.03, frames=96_000)]
    assert heard.passes[0].summary().lost_frames == 96_000


def test_lost_frames_are_told_from_the_first_sounding_after_them():
    heard = Heard()
    heard.hear(noise(0.25))
    heard.source.lose(480)
    heard.hear(noise(0.2))
    assert [reading.lost_frames for reading in heard.readings] == [0, 0, 0, 480, 480]
    assert heard.worker.now.last_gap == Gap(at_s=0.25, frames=480)


def test_frames_that_the_worker_came_too_late_for_are_a_gap():
    heard = Heard(FakeSource(seconds=1.0))
    sound = noise(3.0)
    heard.hear(sound[:48_000])
    heard.source.bring(sound[48_000:])  # 2 s into a ring of 1 s
    heard.worker.step()
    (gap,) = heard.worker.live_pass.gaps
    assert gap.at_s == 1.0
    behind = len(sound) - 48_000 - gap.frames
    assert 0 < behind <= 48_000
    expected = chain_rows(sound[:48_000], gap.frames, sound[-behind:])
    assert_same_rows(heard.finish().all_rows, expected)


def test_what_a_file_promised_and_does_not_hold_is_lost_at_its_end():
    heard = Heard()
    heard.hear(noise(0.2))
    heard.source.lose(100)
    heard.hear(noise(0.1))
    heard.source.become(status=SourceStatus.ENDED, lost_frames=100 + 7000)
    heard.worker.step()
    assert heard.passes[0].gaps == [
        Gap(at_s=0.2, frames=100),
        Gap(at_s=pytest.approx(0.3 + 100 / RATE_HZ), frames=7000),
    ]


def test_what_was_lost_in_an_earlier_ring_is_not_lost_again_at_the_end():
    heard = Heard()
    heard.hear(noise(0.2))
    heard.source.lose(100)
    heard.source.reopen()
    heard.hear(noise(0.2))
    heard.source.end()
    heard.worker.step()
    assert [one.lost_frames for one in heard.passes] == [100, 0]


# --- hold and mark


def test_what_passes_by_while_held_is_a_gap_in_time_and_is_not_lost():
    sound = noise(3.0)
    heard = Heard()
    heard.hear(sound[:50_000])
    heard.command("hold", True)
    heard.hear(sound[50_000:90_000])
    said_while_held = len(heard.rows)
    heard.command("hold", False)
    heard.hear(sound[90_000:])
    assert said_while_held == 10
    assert_same_rows(heard.finish().all_rows, chain_rows(sound[:50_000], 40_000, sound[90_000:]))
    (whole,) = heard.passes
    assert whole.gaps == []
    assert whole.holds == [Gap(at_s=50_000 / RATE_HZ, frames=40_000)]
    assert heard.readings[-1].lost_frames == 0
    assert whole.summary().lost_frames == 0


def test_frames_lost_while_held_only_make_the_hold_longer():
    heard = Heard()
    heard.hear(noise(0.2))
    heard.command("hold", True)
    heard.hear(noise(0.1))
    heard.source.lose(7)
    heard.hear(noise(0.1))
    heard.command("hold", False)
    heard.hear(noise(0.2))
    assert heard.worker.live_pass.holds == [Gap(at_s=0.2, frames=9607)]
    assert heard.worker.live_pass.gaps == []


def test_a_hold_in_which_nothing_passed_leaves_no_trace():
    sound = noise(0.5)
    heard = Heard()
    heard.hear(sound[:10_000])
    heard.command("hold", True)
    heard.command("hold", False)
    heard.hear(sound[10_000:])
    assert_same_rows(heard.finish().all_rows, chain_rows(sound))


def test_the_state_says_that_it_is_held():
    heard = Heard()
    heard.command("hold", True)
    assert heard.worker.now.is_held and not heard.worker.now.is_heard
    heard.command("hold", False)
    assert heard.worker.now.is_heard


def test_a_mark_ends_the_pass_and_the_open_sounding_is_the_first_of_the_next():
    heard = Heard()
    heard.hear(noise(1.05))
    heard.command("mark")
    assert heard.worker.now.reading is None
    heard.hear(noise(0.5, seed=2))
    heard.finish()
    first, second = heard.passes
    assert (first.number, second.number) == (1, 2)
    assert (len(first.store), len(second.store)) == (10, 6)
    assert second.store.rows()["start_frame"][0] == 0
    assert int(second.store.rows()["frames"].sum()) == round(0.55 * RATE_HZ)


def test_what_stands_open_at_a_mark_is_kept_when_nothing_comes_after_it():
    heard = Heard()
    heard.hear(noise(1.05))
    heard.command("mark")
    heard.finish()
    assert [int(one.store.rows()["frames"].sum()) for one in heard.passes] == [48_000, 2400]


def test_a_hold_lasts_over_another_ring():
    heard = Heard()
    heard.hear(noise(0.2))
    heard.command("hold", True)
    heard.source.reopen(rate_hz=44_100)
    heard.hear(noise(0.2, rate_hz=44_100))
    heard.command("hold", False)
    heard.hear(noise(0.1, rate_hz=44_100))
    heard.finish()
    assert [(one.rate_hz, len(one.store), one.holds) for one in heard.passes] == [
        (48_000, 2, []),
        (44_100, 1, []),
    ]


def test_a_mark_while_held_begins_the_pass_when_the_hold_is_over():
    sound = noise(2.0)
    heard = Heard()
    heard.hear(sound[:24_000])
    heard.command("hold", True)
    heard.hear(sound[24_000:40_000])
    heard.command("mark")
    heard.hear(sound[40_000:50_000])
    heard.command("hold", False)
    heard.hear(sound[50_000:])
    heard.finish()
    first, second = heard.passes
    assert_same_rows(first.store.rows(), chain_rows(sound[:24_000]))
    assert_same_rows(second.store.rows(), chain_rows(sound[50_000:]))
    assert second.holds == []


@pytest.mark.parametrize("is_held", [False, True])
def test_another_crossover_begins_a_pass_that_is_measured_with_it_at_once(is_held):
    sound = noise(2.0)
    heard = Heard()
    heard.hear(sound[:50_000])
    heard.command("set_crossover", 120.0)
    assert heard.worker.now.reading is not None, "nothing is other"
    if is_held:
        heard.command("hold", True)
    heard.command("set_crossover", 80.0)
    assert heard.worker.now.crossover_hz == 80.0 and heard.worker.now.reading is None
    if is_held:
        heard.command("hold", False)
    heard.hear(sound[50_000:])
    heard.finish()
    first, second = heard.passes
    assert (first.number, first.crossover_hz) == (1, 120.0)
    assert (second.number, second.crossover_hz) == (2, 80.0)
    assert_same_rows(first.store.rows(), chain_rows(sound[:50_000]))
    assert_same_rows(second.store.rows(), chain_rows(sound[50_000:], crossover_hz=80.0))
    assert second.ring_at_s == pytest.approx(50_000 / RATE_HZ)


def test_two_marks_at_once_make_no_empty_pass():
    heard = Heard()
    heard.hear(noise(0.3))
    heard.command("mark")
    heard.command("mark")
    heard.hear(noise(0.3))
    heard.finish()
    assert [one.number for one in heard.passes] == [1, 2]


def test_a_pass_of_a_day_ends_and_another_begins(monkeypatch):
    monkeypatch.setattr("meter.live_pass.LONGEST_ROWS", 20)
    heard = Heard()
    heard.hear(noise(5.0))
    heard.finish()
    assert [len(one.store) for one in heard.passes] == [20, 20, 10]
    assert heard.worker.now.pass_number == 3


# --- target, volume


def test_verdicts_come_with_the_target_and_go_with_the_volume():
    heard = Heard(FakeSource(volume_db=0.0, is_muted=False), target=CLUB)
    heard.hear(noise(0.5, level=0.01))
    assert heard.worker.now.verdicts == {"true_peak_dbtp": Verdict.INSIDE}
    heard.source.become(volume_db=-6.0)
    heard.worker.step()
    assert heard.worker.now.verdicts == {}
    heard.hear(noise(0.2))
    heard.source.become(volume_db=0.0)
    heard.worker.step()
    assert heard.worker.now.verdicts
    assert heard.worker.live_pass.withheld_rows == 2
    assert not heard.worker.live_pass.has_verdict


def with_limit(limit_dbtp):
    return Target(name="a", title="A", source="", limits={"true_peak_dbtp": Limit(max=limit_dbtp)})


def test_another_target_judges_at_once_and_counts_overs_from_its_limit_at_once():
    heard = Heard()
    heard.hear(noise(0.5))
    assert heard.worker.now.verdicts == {}
    heard.command("set_target", with_limit(-30.0))
    assert heard.worker.now.verdicts == {"true_peak_dbtp": Verdict.OVER}
    assert heard.worker.now.over_limit_dbtp == heard.worker.live_pass.over_limit_dbtp == -30.0
    assert heard.worker.now.last_over is None
    heard.hear(noise(0.1))
    assert heard.worker.now.last_over.at_s >= 0.5 - 0.001
    assert heard.worker.now.last_over.peak_dbtp > -30.0
    assert heard.worker.now.reading.overs > 0
    assert [int(row["overs"]) > 0 for row in heard.all_rows] == [False] * 5 + [True]


def test_a_higher_limit_lets_go_of_the_overs_that_do_not_pass_it():
    heard = Heard(target=with_limit(-30.0))
    heard.hear(noise(0.5))
    assert heard.worker.now.reading.overs > 0
    heard.command("set_target", with_limit(-1.0))
    assert heard.worker.now.last_over is None
    heard.hear(noise(0.1))
    assert heard.worker.now.reading.overs == 0


def test_the_limit_of_a_target_set_while_held_holds_afterwards_too():
    heard = Heard()
    heard.hear(noise(0.3))
    heard.command("hold", True)
    heard.command("set_target", with_limit(-30.0))
    heard.command("mark")
    heard.command("hold", False)
    heard.hear(noise(0.3))
    assert heard.worker.now.over_limit_dbtp == -30.0
    assert heard.worker.now.reading.overs > 0


# --- sources


def test_another_rate_ends_the_pass_and_nothing_of_it_is_lost():
    first, second = noise(0.53), noise(0.5, rate_hz=44_100, channels=1)
    heard = Heard()
    heard.source.bring(first)
    heard.source.reopen(rate_hz=44_100, channels=1)
    heard.source.bring(second)
    heard.worker.step()
    assert (heard.worker.now.rate_hz, heard.worker.now.channels) == (44_100, 1)
    heard.finish()
    one, two = heard.passes
    assert_same_rows(one.store.rows(), chain_rows(first))
    assert_same_rows(two.store.rows(), chain_rows(second, rate_hz=44_100, channels=1))
    assert (two.number, two.rate_hz, two.channels, two.info.rate_hz) == (2, 44_100, 1, 44_100)


def test_another_source_is_heard_from_its_first_frame_and_the_old_one_to_its_last():
    first, second = noise(0.33), noise(0.5, seed=2)
    heard, other = Heard(), FakeSource(spec="device:other", name="another one")
    heard.source.bring(first)
    other.bring(second)
    heard.worker.set_source(other)
    assert heard.source.calls == ["stop"]
    assert other.calls == ["start", "needs"]
    heard.finish()
    assert [one.info.spec for one in heard.passes] == ["device:fake", "device:other"]
    assert_same_rows(heard.all_rows, np.concatenate([chain_rows(first), chain_rows(second)]))


def test_a_source_that_cannot_be_opened_leaves_the_old_one_alone():
    heard = Heard()
    with pytest.raises(OSError, match="no such thing"):
        heard.worker.set_source(FakeSource(refuses="no such thing"))
    heard.hear(noise(0.2))
    assert heard.source.calls == []
    assert len(heard.rows) == 2


def test_the_end_comes_after_the_last_frame_of_an_ended_source():
    sound = noise(1.234)
    heard = Heard()
    heard.source.bring(sound)
    heard.source.end()
    heard.worker.step()
    now = heard.worker.now
    assert now.has_ended and now.state.status is SourceStatus.ENDED
    assert_same_rows(heard.all_rows, chain_rows(sound))
    assert len(heard.passes) == 1
    assert now.reading.at_s == pytest.approx(1.234, abs=1 / RATE_HZ)


def test_after_the_end_another_source_can_be_heard():
    heard, other = Heard(), FakeSource(rate_hz=44_100)
    heard.source.bring(noise(0.2))
    heard.source.end()
    heard.worker.step()
    heard.worker.set_source(other)
    other.bring(noise(0.3, rate_hz=44_100))
    heard.worker.step()
    assert not heard.worker.now.has_ended
    heard.finish()
    assert [one.rate_hz for one in heard.passes] == [48_000, 44_100]


def test_commands_after_the_end_change_nothing():
    heard = Heard()
    heard.source.bring(noise(0.25))
    heard.source.end()
    heard.worker.step()
    for command in (("hold", True), ("hold", False), ("mark",), ("set_target", CLUB)):
        heard.command(*command)
    heard.finish()
    assert len(heard.passes) == 1
    assert len(heard.all_rows) == 3


def test_so_many_channels_as_cannot_be_measured_are_said_and_the_next_ring_is_measured():
    heard = Heard()
    heard.hear(noise(0.2))
    heard.source.reopen(channels=9)
    heard.source.bring(noise(0.2, channels=9))
    heard.worker.step()
    now = heard.worker.now
    assert now.problem.startswith("there are 9 channels, but Leadline measures 1 to 6")
    assert not now.is_heard and now.reading is None
    heard.source.reopen(channels=2)
    heard.hear(noise(0.2))
    assert heard.worker.now.problem is None
    assert len(heard.rows) == 4


# --- a time that was asked for


@pytest.mark.parametrize(("rate_hz", "hop"), [(48_000, 4800), (44_100, 1000)])
def test_it_ends_after_exactly_the_seconds_that_were_asked_for(rate_hz, hop):
    heard = Heard(FakeSource(rate_hz=rate_hz), seconds=0.5)
    sound = noise(1.0, rate_hz=rate_hz)
    heard.hear(sound, hop=hop)
    assert heard.worker.now.has_ended
    assert_same_rows(heard.all_rows, chain_rows(sound[: rate_hz // 2], rate_hz=rate_hz))


def test_lost_sound_counts_for_the_time_that_was_asked_for():
    heard = Heard(seconds=1.0)
    heard.hear(noise(0.3))
    heard.source.lose(10 * RATE_HZ)
    heard.hear(noise(0.3))
    assert heard.worker.now.has_ended
    assert heard.passes[0].summary().lost_frames == round(0.7 * RATE_HZ)


# --- who listens


def test_a_listener_that_fails_is_logged_once_and_ends_nothing(caplog):
    def fail(rows):
        raise ValueError("not today")

    source, passes = FakeSource(), []
    worker = Worker(source, on_soundings=fail, on_pass=passes.append)
    source.bring(noise(1.0))
    with caplog.at_level(logging.ERROR, "meter.engine"):
        worker.step()
        worker.finish()
    assert len(passes[0].store) == 10
    assert [record.message for record in caplog.records] == [
        "what listens to soundings failed; later failures are only counted"
    ]


class Asked:
    """A pace that keeps what it is asked."""

    def __init__(self):
        self.asked = []

    def wait_s(self, wanted_s, *, is_met):
        self.asked.append((round(wanted_s, 6), is_met))
        return 0.030


def test_how_long_to_wait_follows_what_is_missing():
    heard = Heard()
    pace = heard.worker._pace = Asked()
    assert heard.worker.step() == 0.030
    for seconds in (0.020, 0.079, 0.001, 0.125, 0.0):
        heard.source.bring(noise(seconds))
        heard.worker.step()
    # A sounding at 100 ms, another at 200 ms.
    assert pace.asked == [
        (0.1, False),
        (0.08, False),
        (0.001, False),
        (0.1, True),
        (0.075, True),
        (0.075, False),
    ]
    heard.source.bring(noise(8.0))
    assert heard.worker.step() == 0.0  # there is more


@pytest.mark.parametrize("rate_hz", [48_000, 11_025])
def test_slowed_down_it_looks_twice_a_second_and_measures_the_same(rate_hz):
    heard, sound = Heard(FakeSource(rate_hz=rate_hz)), noise(4.0, rate_hz=rate_hz)
    ends_s = [0.13, 0.25, 0.6, 0.68, 1.2, 1.21, 1.9, 2.4, 2.45, 3.0, 4.0]
    for k, (start_s, end_s) in enumerate(pairwise([0.0, *ends_s])):
        heard.source.bring(sound[round(start_s * rate_hz) : round(end_s * rate_hz)])
        heard.worker.step()
        if k in {1, 3, 5, 8, 9}:
            heard.command("slow_down", k in {1, 5, 9})
    lengths = [len(rows) for rows in heard.rows]
    assert max(lengths) == 5 and lengths.count(1) > 3
    heard.worker.finish()
    assert_same_rows(heard.all_rows, chain_rows(sound, rate_hz=rate_hz))


def test_slowed_down_it_waits_for_half_a_second_of_sound():
    heard = Heard()
    heard.command("slow_down", True)
    assert heard.worker.step() == pytest.approx(0.5)
    heard.source.bring(noise(0.4))
    assert heard.worker.step() == pytest.approx(0.1)
    heard.command("slow_down", False)
    assert len(heard.all_rows) == 4, "what had come is told at once"
    assert heard.worker.step() <= 0.1


def test_while_held_it_looks_no_more_often():
    heard = Heard()
    pace = heard.worker._pace = Asked()
    heard.command("hold", True)
    del pace.asked[:]
    for _ in range(3):
        heard.hear(noise(0.1), hop=4800)
    assert pace.asked == [(0.1, True)] * 3


# --- I and LRA


def test_i_is_that_of_the_new_pass_at_once_behind_a_mark_and_a_gap():
    heard, loud, faint = Heard(), noise(1.5), noise(1.0) * 0.1
    heard.hear(loud)
    before_lufs = heard.worker.now.reading.integrated_lufs
    for begin_anew in (lambda: heard.command("mark"), lambda: heard.source.lose(480)):
        begin_anew()
        heard.hear(faint[:4800])
        assert heard.worker.now.reading.integrated_lufs is None
        heard.hear(faint[4800:])
        assert heard.worker.now.reading.integrated_lufs == pytest.approx(before_lufs - 20.0, abs=0.5)


# --- levels for the eye


def test_levels_for_the_eye_are_those_of_each_50_ms():
    heard, sound = Heard(), noise(0.6)
    sound[26_000, 1] = 0.75  # in the last but one of twelve
    heard.hear(sound)
    halves = sound.reshape(12, 2400, 2)
    expected = 20.0 * np.log10(np.abs(halves).max(axis=1))
    assert [eye.peaks_dbfs for eye in heard.worker.now.eye] == [
        pytest.approx(tuple(peaks), abs=1e-4) for peaks in expected[-2:]
    ]
    chain = Chain(rate_hz=RATE_HZ, channels=2, is_excerpt=True)
    chain.process(sound)
    earlier, last = (eye.momentary_lufs for eye in heard.worker.now.eye)
    assert last == pytest.approx(chain.reading().momentary_lufs, abs=1e-9)
    assert earlier != last


def test_levels_for_the_eye_come_twenty_a_second():
    heard, seen = Heard(), []
    for k in range(30):
        block = np.full((4800, 2), 0.001, np.float32)
        block[100 + 2400 * (k % 2)] = 0.5
        heard.hear(block)
        seen += [round(eye.peaks_dbfs[0]) for eye in heard.worker.now.eye]
    assert seen == [-6, -60, -60, -6] * 15


def test_there_is_no_m_for_the_eye_before_400_ms_and_silence_has_no_level():
    heard = Heard()
    heard.hear(noise(0.3))
    assert [eye.momentary_lufs for eye in heard.worker.now.eye] == [None, None]
    heard.hear(np.zeros((48_000, 2), np.float32))
    assert {eye.momentary_lufs for eye in heard.worker.now.eye} == {-np.inf}
    assert {eye.peaks_dbfs for eye in heard.worker.now.eye} == {(-np.inf, -np.inf)}


def test_nothing_is_for_the_eye_where_nothing_is_measured():
    heard = Heard()
    assert heard.worker.now.eye == ()
    heard.hear(noise(0.5))
    assert len(heard.worker.now.eye) == 2
    heard.command("hold", True)
    assert heard.worker.now.eye == ()
    heard.command("hold", False)
    heard.hear(noise(0.2))
    heard.source.lose(4800)
    heard.source.bring(noise(0.05))
    heard.worker.step()
    assert heard.worker.now.eye == ()  # behind the gap no sounding is full yet
    heard.hear(noise(0.1))
    assert len(heard.worker.now.eye) == 2


@pytest.mark.parametrize(("rate_hz", "channels"), [(44_100, 1), (22_050, 2), (96_000, 6)])
def test_the_eye_has_every_rate_and_channel(rate_hz, channels):
    heard = Heard(FakeSource(rate_hz=rate_hz, channels=channels))
    heard.hear(noise(1.0, channels=channels, rate_hz=rate_hz), hop=rate_hz // 10)
    assert [len(eye.peaks_dbfs) for eye in heard.worker.now.eye] == [channels] * 2
    assert all(-30.0 < eye.momentary_lufs < 0.0 for eye in heard.worker.now.eye)
