"""What is found, against what was planted: in the demo tune, and in clean bars of it."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import demo_signals
from demo_signals.faults import ONE_SIDED, OVERS, WIDE_SUB
from meter.chain import Chain
from meter.findings import KINDS, Finder
from meter.pass_cutter import PassCutter
from meter.soundings import Gap
from meter.target_file import shipped_targets
from meter.targets import Limit, Target
from meter.timeline import Timeline
from tests.support import planted
from tests.support.fake_source import FakeSource
from tests.support.session import Clock, Session, pass_of, timeline_of
from tests.support.sound import noise, run_to_end, silence, tone

CLUB = shipped_targets()["club"]
TOLERANCE_S = 0.1 + 1e-9


def alike(seconds, *, seed, level_dbfs=-20.0):
    """Noise that is the same on both sides."""
    return np.repeat(noise(seconds, seed=seed, level_dbfs=level_dbfs, channels=1), 2, axis=1)


def find(timeline, target=CLUB):
    finder = Finder(target)
    finder.take(timeline)
    while finder.is_behind:
        finder.take(timeline)
    return finder.findings


def of_kind(findings, kind):
    return [one for one in findings if one.kind == kind]


# --- the demo tune


@pytest.fixture(scope="module")
def demo():
    return find(timeline_of(demo_signals.render()))


def test_in_the_demo_what_was_planted_is_found_and_nothing_else(demo):
    assert [one.kind for one in demo] == ["lost in mono", "one-sided", "too loud", "over"]


def test_the_wide_sub_of_the_demo_is_found_in_its_bars(demo):
    (found,) = of_kind(demo, "lost in mono")
    # The kick on the first beat is alike on both sides: for 200 ms less is lost than is allowed.
    assert found.first_slot / 10 == pytest.approx(WIDE_SUB.start_s, abs=0.2)
    assert found.last_slot / 10 == pytest.approx(WIDE_SUB.end_s, abs=TOLERANCE_S)
    assert found.text == (
        "4.8 dB are lost in mono below 120 Hz from 0:55.8 to 1:06.7 (at most 1.0 dB): left and right "
        "differ in phase there; make it narrower, or leave it if it never plays in mono"
    )


def test_the_one_sided_stretch_of_the_demo_is_found_and_is_not_said_twice(demo):
    (found,) = of_kind(demo, "one-sided")
    assert found.first_slot / 10 == pytest.approx(ONE_SIDED.start_s, abs=TOLERANCE_S)
    assert found.last_slot / 10 == pytest.approx(ONE_SIDED.end_s, abs=TOLERANCE_S)
    assert found.text == (
        "from 1:23.3 to 1:31.5 it is one-sided, right is 16 dB under left: it may be a pan, a balance or "
        "a cable; put it in the middle, or leave it if meant so"
    )


def test_the_overs_of_the_demo_are_one_finding_from_the_first_to_the_last(demo):
    (found,) = of_kind(demo, "over")
    assert found.first_slot / 10 == pytest.approx(OVERS.at_s[0], abs=TOLERANCE_S)
    assert found.last_slot / 10 == pytest.approx(OVERS.at_s[-1], abs=TOLERANCE_S)
    assert min(abs(found.at_s - at_s) for at_s in OVERS.at_s) <= TOLERANCE_S
    assert found.text.startswith(
        "6 overs from 2:16.1 to 2:22.9: the true peak went 1.6 dB over 0.0 dBTP at 2:"
    )
    assert "between the samples, where a limiter that reads only samples sees nothing" in found.text
    assert found.text.endswith("lower the ceiling by as much, unless it is meant to clip")


# --- faults planted in clean bars


def test_in_clean_bars_nothing_is_found():
    assert find(timeline_of(planted.clean())) == ()


@pytest.mark.parametrize("seed", range(5))
def test_every_planted_fault_is_found_to_100_ms_and_nothing_else(seed):
    rng = np.random.default_rng(seed)
    samples = planted.clean().copy()
    at = iter(np.array([6.0, 19.0, 32.0, 45.0, 58.0, 67.0, 76.0]) + rng.uniform(0.0, 3.0, 7))
    lengths = iter(rng.uniform(3.5, 8.0, 4))
    stretches = (
        planted.flip_low_end,
        lambda *place: planted.lower_one_side(*place, side=0),
        planted.low_end_left_only,
        lambda *place: planted.lower_one_side(*place, side=1),
    )
    expected = [plant(samples, start := next(at), start + next(lengths)) for plant in stretches]
    expected.append(planted.silence_all(samples, start := next(at), start + rng.uniform(0.7, 3.0)))
    expected += [planted.over(samples, next(at)), planted.over(samples, next(at))]
    found = find(timeline_of(samples))
    assert [one.kind for one in found] == [one.kind for one in expected]
    for one, fault in zip(found, expected, strict=True):
        assert one.first_slot / 10 == pytest.approx(fault.start_s, abs=TOLERANCE_S), one.text
        # The ringing of a click goes on into the next sounding.
        longer_s = 0.1 if one.kind == "over" else 0.0
        assert one.last_slot / 10 == pytest.approx(fault.end_s, abs=TOLERANCE_S + longer_s), one.text


@pytest.mark.parametrize("lost_frames", [1000, 48_000, 150_000])
def test_a_gap_is_found_where_it_was(lost_frames):
    session = Session()
    session.hear(alike(4.03, seed=1))
    session.source.lose(lost_frames)
    session.hear(alike(3.0, seed=2))
    (found,) = find(session.finish())
    assert found.kind == "gap"
    assert found.first_slot / 10 == pytest.approx(4.03, abs=TOLERANCE_S)
    assert found.last_slot / 10 == pytest.approx(4.03 + lost_frames / 48_000, abs=0.15)
    amount = {1000: "0.021 s", 48_000: "1.0 s", 150_000: "3.1 s"}[lost_frames]
    assert found.text == (
        f"{amount} were lost at 0:04.0; loudness and maxima start anew there: the computer was too busy "
        "or the source was away; close what works hard and play it again, or leave it if you cut it off "
        "yourself"
    )


def test_the_missing_end_of_a_file_is_a_gap_too():
    session = Session()
    session.hear(alike(2.0, seed=1))
    session.worker.step()
    finder = Finder(CLUB)
    finder.take(session.timeline)
    session.worker.live_pass.gaps.append(Gap(at_s=2.0, frames=7000))
    finder.take(session.timeline)
    assert [(one.kind, one.first_slot) for one in finder.findings] == [("gap", 20)]


def test_gaps_that_lie_near_are_one_finding():
    session = Session()
    for k in range(3):
        session.hear(alike(1.0, seed=k))
        session.source.lose(24_000)
    session.hear(alike(2.0, seed=9))
    (found,) = of_kind(find(session.finish()), "gap")
    assert found.text.startswith("1.5 s were lost in 3 gaps from 0:01.0 to 0:04.5; loudness and maxima start")


def test_what_is_held_is_no_gap():
    session = Session()
    session.hear(alike(2.0, seed=1))
    session.command("hold", True)
    session.hear(alike(2.0, seed=2))
    session.command("hold", False)
    session.hear(alike(2.0, seed=3))
    assert find(session.finish()) == ()


# --- silence


def test_silence_before_the_music_after_it_or_between_two_passes_is_not_inside_one():
    music = alike(5.0, seed=1)
    samples = np.concatenate([silence(3.0), music, silence(7.0), music, silence(2.0)])
    assert find(timeline_of(samples)) == ()


def test_sound_that_is_cut_off_and_comes_back_is_a_silence_and_a_fade_that_comes_back_is_none():
    fade = alike(2.0, seed=1) * np.geomspace(1.0, 1e-4, 96_000)[:, None]
    cut = np.concatenate([alike(4.1, seed=2), silence(1.0), fade[::-1], alike(3.0, seed=3)])
    (found,) = find(timeline_of(cut.astype(np.float32)))
    assert found.kind == "silence"
    assert found.text.endswith(
        " s of silence at 0:04.2, under -60 LUFS with music before and after: a dropout, or a clip that is "
        "muted or ends early; listen there, and leave it if it is a break that is meant"
    )
    faded = np.concatenate([alike(3.0, seed=2), fade, alike(3.0, seed=3)])
    assert find(timeline_of(faded.astype(np.float32))) == ()


# --- words and limits


def test_without_a_target_common_practice_is_the_limit():
    samples = planted.clean().copy()
    planted.flip_low_end(samples, 20.0, 26.0)
    (found,) = find(timeline_of(samples), target=None)
    assert "(at most 1.0 dB)" in found.text


def test_the_limit_of_the_target_is_what_counts():
    wide = Target(
        name="wide",
        title="Wide",
        source="made up",
        limits={"fold_loss_db.60-120": Limit(min=-6.0), "fold_loss_db.full": Limit(min=-8.0)},
    )
    samples = tone(80.0, 9.0, phases_deg=(0.0, 60.0))  # 1.2 dB
    assert find(timeline_of(samples), target=wide) == ()
    samples = tone(80.0, 9.0, phases_deg=(0.0, 150.0))  # 11.7 dB, in the band and in all
    (found,) = of_kind(find(timeline_of(samples), target=wide), "lost in mono")
    assert found.text.startswith("11.7 dB are lost in mono at 60 to 120 Hz since 0:00.0, for ")


def test_each_pass_is_told_with_the_crossover_that_it_was_measured_with():
    session = Session()
    wide = tone(50.0, 5.0, phases_deg=(0.0, 150.0))
    session.hear(wide)
    session.command("set_crossover", 90.0)
    session.hear(wide)
    found = of_kind(find(session.finish()), "lost in mono")
    assert [re.search("below .* Hz", one.text)[0] for one in found] == ["below 120 Hz", "below 90 Hz"]


def test_a_low_end_too_quiet_to_speak_of_loses_nothing():
    loud = tone(5000.0, 9.0, level_dbfs=-12.0)
    assert find(timeline_of(loud + tone(50.0, 9.0, level_dbfs=-75.0, gains=(1.0, -1.0)))) == ()
    (found,) = find(timeline_of(loud + tone(50.0, 9.0, level_dbfs=-40.0, gains=(1.0, -1.0))))
    assert " dB are lost in mono below 120 Hz since 0:00.0" in found.text


def test_one_channel_alone_is_one_sided_all_the_time_and_that_is_all_that_is_said():
    samples = planted.clean().copy()
    samples[:, 1] = 0.0
    (found,) = find(timeline_of(samples))
    assert (found.kind, found.first_slot, found.is_open) == ("one-sided", 0, True)
    assert "it is one-sided, right is silent beside left" in found.text


def test_what_goes_on_is_told_as_far_as_it_has_come():
    samples = planted.clean()[: 20 * planted.RATE_HZ].copy()
    planted.lower_one_side(samples, 12.0, 40.0)
    (found,) = find(timeline_of(samples))
    assert found.is_open
    assert found.text.startswith("since 0:12.0, for 8.0 s so far it is one-sided, left is 14 dB under right")


def test_what_goes_on_is_over_where_its_source_ends():
    session = Session()
    sound = alike(10.0, seed=1)
    sound[48_000 * 6 :, 1] = 0.0
    session.hear(sound)
    finder = Finder(CLUB)
    finder.take(session.timeline)
    (found,) = finder.findings
    assert found.is_open and found.text.startswith("since 0:0")
    finder.take(session.finish())
    (found,) = finder.findings
    assert not found.is_open and re.match(r"from 0:0\d\.\d to 0:10\.0", found.text)


def test_overs_are_those_of_the_target_of_now_and_not_of_the_one_they_were_heard_with():
    def peak(target, then):
        session = Session(target=then)
        sound = alike(6.0, seed=1)
        sound[48_000 * 3 : 48_000 * 3 + 480] *= 0.9 / np.abs(sound[48_000 * 3 : 48_000 * 3 + 480]).max()
        session.hear(sound)
        return of_kind(find(session.finish(), target), "over")

    low = Target(name="low", title="Low", source="made up", limits={"true_peak_dbtp": Limit(max=-2.0)})
    assert peak(CLUB, then=low) == []
    (found,) = peak(low, then=CLUB)
    assert found.first_slot == 30
    assert "over -2.0 dBTP at 0:03" in found.text


def test_the_passes_may_be_cut_by_who_lists_them():
    session, cutter = Session(), PassCutter()
    session.hear(alike(6.0, seed=1))
    finder = Finder(CLUB, cutter=cutter)
    finder.take(session.finish())
    assert [one.last_slot for one in cutter.passes] == [60]


def test_a_file_of_one_channel_has_no_sides():
    assert find(timeline_of(noise(10.0, seed=1, channels=1))) == ()


def test_times_are_those_of_the_pass_and_slots_those_of_the_session():
    session = Session()
    session.hear(alike(10.0, seed=1))
    session.command("mark")
    samples = alike(4.0, seed=2)
    samples[48_000:48_008] = 1.2
    session.hear(samples)
    (found,) = find(session.finish())
    assert (found.pass_number, found.first_slot) == (2, 110)
    assert found.at_s == pytest.approx(1.0)
    assert " at 0:01.0, the samples themselves too, as after a clipper" in found.text


# --- bounds


def test_of_each_kind_the_five_worst_of_a_pass_are_told():
    samples = alike(40.0, seed=1, level_dbfs=-30.0)
    for k in range(8):
        samples[(2 + 4 * k) * 48_000 : (2 + 4 * k) * 48_000 + 8] = 1.05 + 0.05 * ((3 * k) % 8)
    found = find(timeline_of(samples))
    assert len(found) == 5
    heights = sorted(((3 * k) % 8, 2 + 4 * k) for k in range(8))
    assert [round(one.at_s) for one in found] == sorted(at_s for _, at_s in heights[3:])


def test_each_pass_has_its_own_five():
    parts = []
    for k in range(2):
        samples = alike(25.0, seed=k, level_dbfs=-30.0)
        for at_s in (2, 6, 10, 14, 18, 22):
            samples[at_s * 48_000 : at_s * 48_000 + 8] = 1.2
        parts += [samples, silence(6.0)]
    assert len(find(timeline_of(np.concatenate(parts)))) == 10


def test_a_call_takes_ten_minutes_at_most_and_says_that_there_is_more():
    chain = Chain(rate_hz=8000, channels=1)
    rows = run_to_end(chain, noise(30.0, seed=1, rate_hz=8000, channels=1))
    live_pass, timeline = pass_of(chain), Timeline(clock=Clock())
    many = np.concatenate([rows] * 25)
    many["start_frame"] = np.arange(len(many)) * 800
    live_pass.store.append(many)
    timeline.append(many, live_pass)
    finder, calls = Finder(CLUB), 1
    finder.take(timeline)
    while finder.is_behind:
        finder.take(timeline)
        calls += 1
    assert calls == 2


# --- however it grows


@pytest.fixture(scope="module")
def eventful():
    """The soundings of a session in which much goes wrong, with the passes they belong to."""
    session = Session()
    samples = planted.clean().copy()
    for plant, start_s, end_s in (
        (planted.flip_low_end, 5.0, 10.0),
        (planted.flip_low_end, 12.0, 16.0),  # near enough to be one with the first
        (planted.lower_one_side, 24.0, 29.0),
        (planted.silence_all, 33.0, 34.5),
        (planted.low_end_left_only, 40.0, 50.0),
    ):
        plant(samples, start_s, end_s)
    for at_s in (3.0, 5.5, 20.0, 43.3, 47.0, 55.0):
        planted.over(samples, at_s)
    marks = {21: "mark", 43: "lose", 52: "turn"}
    for second in range(60):
        session.hear(samples[second * 48_000 : (second + 1) * 48_000].astype(np.float32))
        if marks.get(second) == "mark":
            session.command("mark")
        elif marks.get(second) == "lose":
            session.source.lose(30_000)
        elif marks.get(second) == "turn":
            session.turn_to(FakeSource(spec="device:other"))
    timeline = session.finish()
    return [(run.live_pass, timeline.rows(run.first_slot, run.stop_slot)[0][1]) for run in timeline.runs]


def replayed(eventful, looks):
    """The same session, looked at after so many soundings."""
    timeline, finder, count = Timeline(clock=Clock()), Finder(CLUB), 0
    copies = {}
    for live_pass, rows in eventful:
        copy = copies.setdefault(live_pass.number, pass_of(Chain(rate_hz=48_000, channels=2)))
        copy.number, copy.info = live_pass.number, live_pass.info
        for at in range(len(rows)):
            copy.store.append(rows[at : at + 1])
            timeline.append(rows[at : at + 1], copy)
            count += 1
            if count in looks:
                finder.take(timeline)
        copy.gaps[:] = live_pass.gaps
    finder.take(timeline)
    return finder.findings


def test_much_that_goes_wrong_is_found_once(eventful):
    found = replayed(eventful, ())
    assert [one.kind for one in found] == [
        "over",
        "lost in mono",
        "over",
        "one-sided",
        "silence",
        "lost in mono",
        "over",
        "gap",
        "lost in mono",
        "over",
        "over",
    ]
    assert {one.kind for one in found} == {"over", "lost in mono", "one-sided", "silence", "gap"} < set(KINDS)


@pytest.fixture(scope="module")
def at_once(eventful):
    """What is found by one look at the end."""
    return replayed(eventful, ())


@settings(max_examples=15)
@given(looks=st.sets(st.integers(1, 600), max_size=40))
def test_what_is_found_does_not_depend_on_when_it_was_looked_for(looks, eventful, at_once):
    found = replayed(eventful, looks)
    assert [one.severity for one in found] == pytest.approx([one.severity for one in at_once])
    assert [replace(one, severity=0.0) for one in found] == [replace(one, severity=0.0) for one in at_once]


def test_every_sentence_names_its_place_and_gives_every_number_a_unit(eventful):
    for one in replayed(eventful, ()):
        assert re.search(r"\d:\d\d\.\d", one.text)
        bare = re.sub(r"\d+:\d\d\.\d|\d+ (overs|gaps)|[-\d.]+ (s|dB|dBTP|LUFS|Hz)\b", "", one.text)
        assert not re.search(r"\d", bare), one.text
        assert re.search(r"leave it|unless", one.text)


def test_a_tail_that_dies_away_on_one_side_is_not_called_one_sided():
    music, tail = alike(10.0, seed=1, level_dbfs=-10.0), alike(8.0, seed=2, level_dbfs=-44.0)
    tail[:, 1] = 0.0
    assert of_kind(find(timeline_of(np.concatenate([music, tail]))), "one-sided") == []
    louder = np.concatenate([music, tail * 10.0])
    assert len(of_kind(find(timeline_of(louder)), "one-sided")) == 1
