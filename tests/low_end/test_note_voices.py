"""Detuned voices against one voice, on made-up sounds that no bound was tuned on."""

import numpy as np
import pytest

from demo_signals import render
from meter.low_end.note_voices import apart_cents
from tests.support.bass import RATE_HZ, around, both, cents_off, line, low_end_of
from tests.support.voices import (
    detuned,
    driven,
    driven_mix,
    faded,
    one_saw,
    saws,
    string,
    sub_under_chord,
    sub_under_saws,
    times,
)

LOW_RATE_HZ = 3000.0


def notes_of(sound):
    return low_end_of(both(around(0.4 * sound / np.abs(sound).max()))).sub_notes


def lowered(sound):
    """At 3 kHz; the sounds here have nothing above 1500 Hz."""
    return sound[:: round(RATE_HZ / LOW_RATE_HZ)]


@pytest.mark.parametrize("count", [20, pytest.param(400, marks=pytest.mark.long)])
def test_detuned_saws_are_no_note(count):
    rng = np.random.default_rng(4001)
    named = [len(notes_of(detuned(rng))) > 0 for _ in range(count)]
    assert np.mean(named) <= 0.05


@pytest.mark.parametrize("kind", [one_saw, driven, string, sub_under_chord, sub_under_saws])
@pytest.mark.parametrize("count", [20, pytest.param(200, marks=pytest.mark.long)])
def test_one_voice_is_a_note_whatever_its_harmonics_and_whatever_is_above_it(kind, count):
    rng = np.random.default_rng(4002)
    named = [len(notes_of(kind(rng))) > 0 for _ in range(count)]
    assert np.mean(named) >= 0.95


@pytest.mark.parametrize("count", [20, pytest.param(200, marks=pytest.mark.long)])
def test_a_sub_that_is_driven_with_detuned_chords_is_mostly_left_a_note(count):
    # Driving makes harmonics of the sub that take over what the chord does.
    rng = np.random.default_rng(4005)
    assert np.mean([len(notes_of(driven_mix(rng))) > 0 for _ in range(count)]) >= 0.8


def test_no_note_of_the_demo_is_taken_for_voices(monkeypatch):
    # A clean sub under growls, pads, bells and drums, all of it driven into a limiter.
    told = told_of(render(), monkeypatch)
    assert len(told) > 100 and max(told) == 0.0


def told_of(sound, monkeypatch):
    """What is said of each note of a sound."""
    told = []

    def spied(*args, **named):
        told.append(apart_cents(*args, **named))
        return told[-1]

    monkeypatch.setattr("meter.low_end.sub_notes.apart_cents", spied)
    low_end_of(sound)
    return told


@pytest.mark.parametrize("count", [3, pytest.param(12, marks=pytest.mark.long)])
def test_no_note_of_a_line_with_drums_is_taken_for_voices(count, monkeypatch):
    seeds = range(4003, 4003 + count)
    told = [one for seed in seeds for one in told_of(line(seed, with_drums=True)[0], monkeypatch)]
    assert len(told) > 50 * count
    assert np.mean(np.array(told) > 0.0) <= 0.02


@pytest.mark.parametrize(("count", "total_cents"), [(2, 10.0), (2, 30.0), (3, 20.0), (7, 25.0)])
def test_how_far_voices_are_apart_is_the_spread_that_they_were_given(count, total_cents):
    # Root mean square of evenly spaced places, of which each has the same strength.
    true_cents = np.sqrt(np.mean(np.square(np.linspace(-0.5, 0.5, count)))) * total_cents
    for seed in range(5):
        sound = lowered(saws(50.0, 2.0, total_cents, count, np.random.default_rng(seed)))
        assert apart_cents(sound, rate_hz=LOW_RATE_HZ, hz=50.0) == pytest.approx(true_cents, rel=0.25)


def test_of_one_saw_silence_and_noise_there_is_no_spread():
    rng = np.random.default_rng(7)
    one = lowered(saws(50.0, 1.0, 0.0, 1, rng))
    for sound in (one, 0.0 * one, rng.standard_normal(len(one)), one[:30], one[:1]):
        assert apart_cents(sound, rate_hz=LOW_RATE_HZ, hz=50.0) == 0.0


def test_voices_a_few_cents_apart_are_one_pitch_and_less_sure():
    # Within a tuner's tolerance of 5 cents. What is stated takes the voices in.
    rng = np.random.default_rng(4004)
    errors, uncertainties = [], []
    for _ in range(30):
        hz = rng.uniform(35.0, 90.0)
        sound = saws(hz, rng.uniform(0.3, 1.5), rng.uniform(3.0, 5.0), int(rng.integers(2, 8)), rng)
        for note in notes_of(faded(sound)):
            if note.hz < 1.5 * hz:  # else the voices cancel, and their second harmonic is what is heard
                errors.append(cents_off(note.hz, hz))
                uncertainties.append(note.uncertainty_cents)
    assert len(errors) >= 20
    assert np.median(uncertainties) > 1.0
    assert np.mean(np.array(errors) <= uncertainties) >= 0.6


def test_detuned_voices_that_are_held_are_not_named_live():
    from meter.low_end.analysis import LowEndAnalysis
    from meter.low_end.clock import low_clock
    from meter.low_end.stream import LowStream

    for make, is_named in ((lambda: saws(55.0, 1.0, 20.0, 3, np.random.default_rng(1)), False),
                           (lambda: np.sin(2 * np.pi * 55.0 * times(1.0)), True)):  # fmt: skip
        sound = make()
        analysis = LowEndAnalysis(low_clock(RATE_HZ))
        stream = LowStream(rate_hz=RATE_HZ, channels=2, sink=analysis)
        stream.process(both(np.pad(0.4 * sound / np.abs(sound).max(), (RATE_HZ, 0))))
        assert (analysis.reading().note_now is not None) == is_named
