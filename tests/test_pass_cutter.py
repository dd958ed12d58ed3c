from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.chain import Chain
from meter.pass_cutter import QUIET_SLOTS, PassCutter
from meter.passes import measure, summarise
from meter.targets import value_text
from meter.timeline import Timeline
from tests.support.examples import a_quarter
from tests.support.fake_source import FakeSource
from tests.support.session import Clock, Session, pass_of, timeline_of
from tests.support.sound import noise, run_to_end, silence

RATE_HZ = 8000


def music(seconds, *, seed=1):
    return noise(seconds, seed=seed, rate_hz=RATE_HZ, channels=1)


def quiet(seconds):
    return silence(seconds, rate_hz=RATE_HZ, channels=1)


def cut(timeline):
    cutter = PassCutter()
    cutter.take(timeline)
    return cutter.passes


def places(passes):
    return [(one.first_slot, one.last_slot) for one in passes]


def of(*parts):
    return timeline_of(np.concatenate(parts), rate_hz=RATE_HZ)


# --- the rule


def test_a_pass_begins_400_ms_before_its_first_m_that_is_not_quiet():
    # 0.1 s of this noise in 0.4 s is loud enough: M of slot 50 is the first, and reaches back to slot 47.
    (one,) = cut(of(quiet(5.0), music(10.0)))
    assert one.first_slot == 47
    assert (one.number, one.last_slot) == (1, None)


def test_it_begins_with_the_first_sounding_when_that_is_music():
    assert cut(of(music(10.0)))[0].first_slot == 0


def test_it_ends_after_five_quiet_seconds_where_it_was_last_heard():
    # The last M that is not quiet is that of slot 103: the filters ring on for 100 ms.
    passes = cut(of(music(10.0), quiet(6.0)))
    assert places(passes) == [(0, 104)]


def test_shorter_silence_is_part_of_it():
    assert places(cut(of(music(10.0), quiet(5.0), music(5.0)))) == [(0, None)]
    assert places(cut(of(music(10.0), quiet(5.3), music(5.0)))) == [(0, None)]  # 49 quiet M
    assert places(cut(of(music(10.0), quiet(5.4), music(5.0)))) == [(0, 104), (151, None)]  # 50
    assert QUIET_SLOTS == 50


def test_it_is_open_until_five_quiet_seconds_have_passed():
    assert places(cut(of(music(10.0), quiet(5.3)))) == [(0, None)]
    assert places(cut(of(music(10.0), quiet(5.4)))) == [(0, 104)]


def test_silence_alone_is_no_pass():
    assert cut(of(quiet(20.0))) == []


@pytest.mark.parametrize(
    ("what", "first", "second"),
    [
        ("a gap", (0, 20), (21, 41)),
        ("a hold", (0, 20), (30, 50)),
        ("a mark", (0, 20), (20, 40)),
        ("another source", (0, 20), (20, 40)),
    ],
)
def test_it_ends_where_the_soundings_do_not_go_on(what, first, second):
    session = Session()
    session.hear(noise(2.0, seed=1))
    if what == "a gap":
        session.source.lose(4800)
    elif what == "a hold":
        session.command("hold", True)
        session.hear(noise(1.0, seed=2))
        session.command("hold", False)
    elif what == "a mark":
        session.command("mark")
    else:
        session.turn_to(FakeSource(spec="device:other"))
    session.hear(noise(2.0, seed=3))
    assert places(cut(session.finish())) == [first, second]


def test_it_ends_with_its_source_and_its_line_is_exact_then():
    session, cutter = Session(), PassCutter()
    for level_dbfs in (-20.0, -8.0):  # the loud end is under 5 % of it
        session.hear(noise(30.0 if level_dbfs < -10.0 else 1.0, seed=1, level_dbfs=level_dbfs))
        cutter.take(session.timeline)
        stale = cutter.passes[0].one_line()
    assert cutter.passes[0].last_slot is None
    cutter.take(session.finish())
    (one,) = cutter.passes
    summary = session.worker.live_pass.summary()
    assert one.last_slot == 310
    assert one.one_line() == (
        f"1  0:31  I {value_text(summary.integrated_lufs)}  "
        f"TP {value_text(summary.true_peak_dbtp, plus=True)}"
    )
    assert one.one_line() != stale


def test_the_line_of_an_open_one_may_be_old_or_exact():
    session, cutter = Session(), PassCutter()
    session.hear(noise(30.0, seed=1, level_dbfs=-20.0))
    cutter.take(session.timeline)
    old = cutter.passes[0].one_line()
    session.hear(noise(1.0, seed=1, level_dbfs=-8.0))
    cutter.take(session.timeline)
    assert cutter.passes[0].one_line().split("  ")[2:] == old.split("  ")[2:]
    summary = session.worker.live_pass.summary()
    assert f"I {value_text(summary.integrated_lufs)}" in cutter.passes[0].one_line(exactly=True)
    assert cutter.passes[0].one_line(exactly=True) != old.replace("0:30", "0:31")


def test_a_mark_ends_it_before_anything_has_come_behind_it():
    session = Session()
    session.hear(noise(2.0, seed=1))
    session.command("mark")
    assert places(cut(session.timeline)) == [(0, 20)]


def test_two_passes_never_share_a_sounding():
    passes = cut(of(music(10.0), quiet(5.45), music(0.4), quiet(8.0), music(3.0)))
    assert len(passes) == 3
    for before, after in pairwise(passes):
        assert before.last_slot <= after.first_slot
    session = Session()
    session.hear(noise(2.02, seed=1))
    session.source.lose(48)
    session.hear(noise(2.0, seed=2))
    before, after = cut(session.finish())
    assert (before.last_slot, after.first_slot) == (21, 20)
    assert np.concatenate([before.rows(), after.rows()]).tobytes() == (
        session.worker.live_pass.store.rows().tobytes()
    )


# --- however it grows


def grown(rows, chain, looks, *, breaks=()):
    """The passes of a timeline that is looked at after so many rows, again and again."""
    timeline, cutter, live_pass = Timeline(clock=Clock()), PassCutter(), pass_of(chain)
    for at in range(len(rows)):
        if at in breaks:
            info = live_pass.info
            live_pass = pass_of(chain, number=live_pass.number + 1)
            live_pass.info = info
        live_pass.store.append(rows[at : at + 1])
        timeline.append(rows[at : at + 1], live_pass)
        if at in looks:
            cutter.take(timeline)
    cutter.take(timeline)
    return cutter.passes


@pytest.fixture(scope="module")
def patchwork():
    """Music and silence of all lengths."""
    parts = []
    for k, seconds in enumerate((4.0, 5.0, 0.3, 5.6, 2.0, 4.9, 7.0, 12.0, 0.2, 0.5, 3.0)):
        parts.append(music(seconds, seed=k) if k % 2 == 0 else quiet(seconds))
    chain = Chain(rate_hz=RATE_HZ, channels=1)
    return chain, run_to_end(chain, np.concatenate(parts))


@a_quarter()
@given(
    looks=st.sets(st.integers(0, 445)),
    breaks=st.sets(st.integers(1, 440), max_size=3),
)
def test_the_passes_do_not_depend_on_when_they_were_looked_for(looks, breaks, patchwork):
    chain, rows = patchwork
    once = grown(rows, chain, (), breaks=breaks)
    often = grown(rows, chain, looks, breaks=breaks)
    assert len(once) > 2
    assert places(often) == places(once)


# --- what is said of them


def test_its_summary_is_that_of_its_samples():
    samples = np.concatenate([quiet(5.0), music(20.0), quiet(6.0)])
    (one,) = cut(of(samples))
    inside = samples[one.first_slot * 800 : one.last_slot * 800]
    found, expected = one.summary(), measure(inside, rate_hz=RATE_HZ)
    assert found.seconds == expected.seconds
    assert found.integrated_lufs == pytest.approx(expected.integrated_lufs, abs=1e-4)
    assert found.true_peak_dbtp == pytest.approx(expected.true_peak_dbtp, abs=0.01)


def test_a_closed_pass_is_summed_up_once(monkeypatch):
    (one,) = cut(of(music(8.0), quiet(6.0)))
    calls = []
    monkeypatch.setattr("meter.passes.summarise", lambda *a, **k: calls.append(1) or summarise(*a, **k))
    assert one.summary() is one.summary()
    assert one.one_line() == one.one_line()
    assert len(calls) == 1


def test_the_line_of_an_open_pass_is_summed_up_ever_more_rarely(monkeypatch):
    calls = []
    monkeypatch.setattr("meter.passes.summarise", lambda *a, **k: calls.append(1) or summarise(*a, **k))
    chain = Chain(rate_hz=RATE_HZ, channels=1)
    rows = run_to_end(chain, music(120.0))
    timeline, cutter, live_pass = Timeline(clock=Clock()), PassCutter(), pass_of(chain)
    for at in range(0, len(rows), 10):
        live_pass.store.append(rows[at : at + 10])
        timeline.append(rows[at : at + 10], live_pass)
        cutter.take(timeline)
        assert cutter.passes[0].one_line()
    assert len(calls) < 65
    assert cutter.passes[0].summary().seconds == 120.0


def test_a_pass_is_one_line_in_the_list():
    (one,) = cut(of(music(134.0), quiet(6.0)))
    summary = one.summary()
    assert one.one_line() == f"1  2:14  I {summary.integrated_lufs:.1f}  TP {summary.true_peak_dbtp:+.1f}"
    assert one.seconds == pytest.approx(134.3)


def test_a_pass_too_short_for_a_loudness_says_so():
    assert cut(of(music(0.4)))[0].one_line().startswith("1  0:00  I ")
    session = Session()
    session.hear(noise(3.0, seed=1))
    session.command("mark")
    session.hear(noise(0.2, seed=2))
    session.worker.step()
    assert " I --  TP " in cut(session.timeline)[1].one_line()
