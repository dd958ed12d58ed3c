"""The sub's notes, held to sounds whose notes are known because they were made so."""

import numpy as np
import pytest
import soundfile

from demo_signals.instruments import kick
from meter.low_end import LowEndSettings
from meter.low_end.note_fit import fit, piece_of
from meter.low_end.note_sections import sections_of
from meter.low_end.note_signal import NoteSignal, middle_and_side
from tests.support.bass import RATE_HZ, around, both, cents_off, line, low_end_of, matched, note
from tests.support.drum_patterns import FOLDER

LIMITS_CENTS = {0.12: 1.0, 0.25: 0.3, 0.5: 0.1}


def fitted(sounds, true_hz, rng):
    """Fit notes whose beginning and end are known: errors and stated uncertainties in cents."""
    pieces = []
    for sound, hz in zip(sounds, true_hz, strict=True):
        padded = both(np.pad(sound, (RATE_HZ // 10, RATE_HZ // 2)))
        lowered = NoteSignal(float(RATE_HZ)).lower(middle_and_side(padded))[0]
        made = NoteSignal(float(RATE_HZ))
        first = round((0.1 + made.delay_s) * made.rate_hz)
        piece = lowered[first : first + int(len(sound) / RATE_HZ * made.rate_hz)]
        pieces.append(piece_of(piece, rate_hz=made.rate_hz, hz=hz * (1 + rng.uniform(-0.01, 0.01))))
    found = fit(pieces)
    return cents_off(found.hz, np.array(true_hz)), found.uncertainty_cents


def drawn(count, seconds, seed, *, with_kick=False):
    rng = np.random.default_rng(seed)
    true_hz = rng.uniform(30.0, 110.0, count)
    sounds = [note(hz, seconds, rng) for hz in true_hz]
    if with_kick:
        for sound in sounds:
            hit = rng.uniform(0.7, 1.5) * kick(rng.uniform(45.0, 100.0))[: len(sound)]
            sound[: len(hit)] += hit
    return fitted(sounds, true_hz, rng)


@pytest.mark.parametrize("seconds", LIMITS_CENTS)
@pytest.mark.parametrize("count", [24, pytest.param(400, marks=pytest.mark.long)])
def test_clean_notes_are_told_to_fractions_of_a_cent(seconds, count):
    errors, uncertainties = drawn(count, seconds, 1)
    assert np.percentile(errors, 95) <= LIMITS_CENTS[seconds]
    assert np.mean(errors <= uncertainties) >= 0.9


@pytest.mark.parametrize("count", [24, pytest.param(400, marks=pytest.mark.long)])
def test_with_a_kick_on_the_onset_the_uncertainty_covers_the_error(count):
    errors, uncertainties = drawn(count, 0.5, 2, with_kick=True)
    assert np.percentile(errors, 95) <= 6.0
    assert np.mean(errors <= uncertainties) >= 0.9
    short_errors, short_uncertainties = drawn(count, 0.25, 3, with_kick=True)
    # Too short to be sure: it says so.
    assert np.percentile(short_errors, 95) > 6.0
    assert np.mean(short_errors <= short_uncertainties) >= 0.8


@pytest.mark.parametrize("with_drums", [False, True])
@pytest.mark.parametrize("seeds", [(3,), pytest.param(range(1, 9), marks=pytest.mark.long)])
def test_a_line_of_64_notes_is_read(seeds, with_drums):
    found = legato_ms = plain_ms = ()
    strays = 0
    for seed in seeds:
        sound, truth = line(seed, with_drums=with_drums)
        pairs, left = matched(truth, low_end_of(sound).sub_notes)
        strays += len(left)
        found += tuple(read is not None for _, read in pairs)
        for (at_s, _, _, is_legato), read in pairs:
            if read is not None and is_legato:
                legato_ms += (1000 * abs(read.at_s - at_s),)
            elif read is not None:
                plain_ms += (1000 * abs(read.at_s - at_s),)
    assert np.mean(found) >= 0.95
    assert strays <= 0.08 * len(found)
    assert np.percentile(plain_ms, 95) <= 30.0
    assert max(legato_ms) <= 60.0


def test_silence_and_faint_noise_have_no_notes():
    silence = np.zeros((3 * RATE_HZ, 2))
    faint = 1e-4 * np.random.default_rng(1).standard_normal((3 * RATE_HZ, 2))
    for sound in (silence, faint):
        read = low_end_of(sound)
        assert read.sub_notes == () and read.note_now is None and read.unpitched == ()


def glide(rng):
    seconds = rng.uniform(0.4, 1.2)
    share = np.linspace(0.0, 1.0, round(seconds * RATE_HZ))
    hz = rng.uniform(35.0, 60.0) * 2 ** (rng.uniform(3, 12) / 12 * share)
    return np.sin(2 * np.pi * np.cumsum(hz) / RATE_HZ)


def growl(rng):
    t = np.arange(round(rng.uniform(0.6, 1.2) * RATE_HZ)) / RATE_HZ
    hz, wobble_hz = rng.uniform(40.0, 80.0), rng.uniform(2.0, 9.0)
    depth = rng.uniform(0.1, 0.4) * hz / wobble_hz
    return np.sin(2 * np.pi * hz * t + depth * np.sin(2 * np.pi * wobble_hz * t))


def rumble(rng):
    return rng.standard_normal(RATE_HZ)


def drum(rng):
    t = np.arange(round(0.4 * RATE_HZ)) / RATE_HZ
    phase = rng.uniform(45.0, 110.0) * t + rng.uniform(1.0, 2.5) * (1 - np.exp(-t / 0.01))
    return np.sin(2 * np.pi * phase) * np.exp(-t / rng.uniform(0.03, 0.12))


@pytest.mark.parametrize("kind", [glide, growl, rumble, drum])
@pytest.mark.parametrize("count", [8, pytest.param(100, marks=pytest.mark.long)])
def test_what_has_no_single_pitch_is_no_note(kind, count):
    rng = np.random.default_rng(5)
    sounds = [kind(rng) for _ in range(count)]
    named = [len(low_end_of(both(around(0.4 * one / np.abs(one).max()))).sub_notes) > 0 for one in sounds]
    assert np.mean(named) <= (0.125 if count < 20 else 0.1)


def voices(rng):
    t = np.arange(round(rng.uniform(0.7, 1.5) * RATE_HZ)) / RATE_HZ
    count, hz = rng.integers(3, 8), rng.uniform(35.0, 90.0)
    apart = rng.uniform(15.0, 50.0)
    each_hz = hz * 2 ** (np.linspace(-apart, apart, count) / 1200)
    return sum(
        np.sin(2 * np.pi * k * (one * t + phase)) / k
        for one, phase in zip(each_hz, rng.uniform(size=count), strict=True)
        for k in range(1, int(400 / hz) + 1)
    )


@pytest.mark.parametrize("count", [20, pytest.param(200, marks=pytest.mark.long)])
def test_voices_far_apart_are_no_note_though_they_have_few_harmonics(count):
    rng = np.random.default_rng(6)
    sounds = [voices(rng) for _ in range(count)]
    named = [len(low_end_of(both(around(0.4 * one / np.abs(one).max()))).sub_notes) > 0 for one in sounds]
    assert np.mean(named) <= (0.1 if count < 100 else 0.05)


def test_a_note_that_fades_as_a_string_does_is_a_note():
    t = np.arange(RATE_HZ) / RATE_HZ
    for hz in (36.0, 49.0, 73.0):
        (read,) = low_end_of(both(around(0.5 * np.sin(2 * np.pi * hz * t) * np.exp(-t / 0.35)))).sub_notes
        assert cents_off(read.hz, hz) < 0.5


def test_a_sub_that_is_wide_or_on_one_side_is_read_too():
    t = np.arange(RATE_HZ) / RATE_HZ
    for degrees in (0, 90, 180):
        left = np.sin(2 * np.pi * 55.0 * t)
        right = np.sin(2 * np.pi * 55.0 * t + np.radians(degrees))
        (read,) = low_end_of(np.stack([around(left), around(right)], axis=1)).sub_notes
        assert read.note == "A1" and abs(read.cents) < 0.1
        assert read.level_dbfs == pytest.approx(0.0, abs=0.2)
    (read,) = low_end_of(np.stack([0 * around(left), around(left)], axis=1)).sub_notes
    assert read.note == "A1" and read.level_dbfs == pytest.approx(-3.0, abs=0.2)


def test_the_tuning_of_all_is_taken_out_before_a_note_is_named():
    rng = np.random.default_rng(1)
    midis = (29, 32, 34, 36, 37, 41)
    off = 45.0  # cents; alone, one of these with 6 more would carry the next name
    sound = np.concatenate(
        [around(note(440 * 2 ** ((midi + (off + extra) / 100 - 69) / 12), 0.5, rng), 0.2)
         for midi, extra in zip(midis, (0, 0, 6, 0, 0, 0), strict=True)]
    )  # fmt: skip
    read = low_end_of(both(0.4 * sound))
    assert read.tuning_cents == pytest.approx(off, abs=0.1)
    assert [one.midi for one in read.sub_notes] == list(midis)
    assert read.sub_notes[2].cents == pytest.approx(51.0, abs=0.1)
    in_tune = low_end_of(both(0.4 * sound), LowEndSettings(a4_hz=440 * 2 ** (off / 1200), key="Fm"))
    assert in_tune.tuning_cents == pytest.approx(0.0, abs=0.1)
    assert in_tune.sub_notes[2].cents == pytest.approx(6.0, abs=0.1)
    assert [one.is_in_key for one in in_tune.sub_notes] == [True] * 6


def test_beats_and_the_share_under_40_hz_are_told():
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    low = np.sin(2 * np.pi * 36.0 * t) + 0.5 * np.sin(2 * np.pi * 72.0 * t)
    (read,) = low_end_of(both(around(0.4 * low))).sub_notes
    assert read.share_under_40_hz == pytest.approx(1 / 1.25, abs=0.02)
    assert (read.note, read.beat_hz) == ("D1", pytest.approx(36.7081 - 36.0, abs=0.001))


def test_any_cutting_reads_the_same():
    sound, _ = line(4, with_drums=True)
    sound = sound[: 8 * RATE_HZ]
    whole, cut = low_end_of(sound), low_end_of(sound, cuts=range(1000, len(sound), 7919))
    assert len(whole.sub_notes) > 8
    assert cut.sub_notes == whole.sub_notes
    assert (cut.unpitched, cut.tuning_cents) == (whole.unpitched, whole.tuning_cents)


@pytest.mark.parametrize("hz", [28.0, 50.0, 110.0])
def test_a_held_note_is_named_within_0_6_s_less_the_pause_of_the_thread(hz):
    from meter.low_end.analysis import LowEndAnalysis
    from meter.low_end.clock import low_clock
    from meter.low_end.stream import LowStream

    t = np.arange(RATE_HZ) / RATE_HZ
    sound = both(np.pad(0.4 * np.sin(2 * np.pi * hz * t), (RATE_HZ, 0))).astype(np.float32)
    for late in range(0, 4000, 800):  # wherever blocks and frames begin
        analysis = LowEndAnalysis(low_clock(RATE_HZ))
        stream = LowStream(rate_hz=RATE_HZ, channels=2, sink=analysis)
        stream.process(sound[late : RATE_HZ + round(0.35 * RATE_HZ)])
        now = analysis.reading().note_now
        assert now is not None and now.is_open
        assert cents_off(now.hz, hz) < max(now.uncertainty_cents, 1.0)


@pytest.mark.packages("sonic-pi-samples")
def test_a_sampled_break_again_and_again_is_read_to_its_end():
    sound, rate_hz = soundfile.read(FOLDER / "loop_amen_full.flac", always_2d=True, dtype="float32")
    sound = np.tile(sound, (3, 1))
    assert rate_hz == 44_100
    low_end = low_end_of(sound)
    assert low_end.unpitched and low_end.unpitched[-1].at_s > 0.8 * len(sound) / 48_000


def test_a_pitch_of_which_the_notes_around_leave_nothing_has_no_section():
    tone = np.sin(2 * np.pi * 55.0 * np.arange(600) / 750.0)
    how = {"rate_hz": 750.0, "hz": 55.0}
    assert sections_of(tone, first=100, last=500, **how)
    for first, last in ((-90, -40), (-20, -1), (600, 640)):
        assert sections_of(tone, first=first, last=last, **how) == []
