"""What bends the I of a pass: each case is noticed, and where a number is said it is the true one."""

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from meter.pollution import suggestions_for
from tests.support.tune import RATE_HZ, SECTIONS, part_of, section, tune

TOLERANCE_LU = 0.1


@cache
def true_lufs():
    return part_of(tune()).integrated_lufs()


def still(seconds):
    return np.zeros((round(seconds * RATE_HZ), 2))


def with_pauses(count):
    pieces = np.array_split(tune(), count + 1)
    return np.concatenate([part for piece in pieces for part in (piece, still(1.0))][:-1])


def hiss(seconds):
    samples = np.random.default_rng(9).standard_normal((round(seconds * RATE_HZ), 2))
    return samples * 10 ** (-55 / 20)


def looped(name, more):
    parts = []
    for one, _, _ in SECTIONS:
        parts += [section(one)] * (1 + more * (one == name))
    return np.concatenate(parts)


def other_tune(gain):
    """Another one, two minutes, with a moment of silence behind it."""
    return np.concatenate([tune()[::-1] * gain, still(1.5), tune()])


def pinged():
    samples = tune()
    t = np.arange(round(0.5 * RATE_HZ)) / RATE_HZ
    ping = 0.35 * np.sin(2 * np.pi * 1500.0 * t)[:, None]
    for k in range(20):
        at = round((3.3 + 6.1 * k) * RATE_HZ)
        samples[at : at + len(ping)] += ping
    return samples


def stepped():
    samples = tune()
    samples[35 * RATE_HZ : 55 * RATE_HZ] *= 0.5
    return samples


CASES = {
    "10 s of silence before": (lambda: np.concatenate([still(10.0), tune()]), "silence"),
    "60 s of silence before": (lambda: np.concatenate([still(60.0), tune()]), "silence"),
    "10 pauses": (lambda: with_pauses(10), "pauses"),
    "60 pauses": (lambda: with_pauses(60), "pauses"),
    "30 s of noise before": (lambda: np.concatenate([hiss(30.0), tune()]), "noise"),
    "the intro three more times": (lambda: looped("intro", 3), "loop"),
    "the break four times": (lambda: looped("break", 3), "loop"),
    "a quiet tune before": (lambda: other_tune(0.5), "another tune"),
    "a loud tune before": (lambda: other_tune(1.6), "another tune"),
    "20 pings": (pinged, "pings"),
    "20 s of the drop at half volume": (stepped, "level step"),
}


@cache
def part_of_case(name):
    """Measured once for both tests."""
    return part_of(CASES[name][0]())


@pytest.mark.parametrize("name", CASES)
def test_what_bends_it_is_noticed_and_the_number_without_it_is_the_true_one(name):
    kind, part = CASES[name][1], part_of_case(name)
    found = suggestions_for(part)
    assert [one.kind for one in found] == [kind]
    assert found[0].integrated_lufs == pytest.approx(true_lufs(), abs=TOLERANCE_LU)
    assert f"I = {found[0].integrated_lufs:.1f} LUFS" in found[0].text


def test_the_table_bends_it_as_much_as_it_is_there_for():
    off = {name: part_of_case(name).integrated_lufs() - true_lufs() for name in CASES}
    assert sum(abs(lu) > 2 * TOLERANCE_LU for lu in off.values()) >= 6, off


def test_accents_with_bass_of_their_own_are_music_and_no_pings():
    """A drum that is struck louder than anything else, again and again."""
    samples = tune()
    t = np.arange(round(0.5 * RATE_HZ)) / RATE_HZ
    sound = np.sin(2 * np.pi * 1500.0 * t) + 3.0 * np.sin(2 * np.pi * 80.0 * t)
    strike = (0.35 * sound * np.exp(-t / 0.2))[:, None]
    for k in range(20):
        at = round((3.3 + 6.1 * k) * RATE_HZ)
        samples[at : at + len(strike)] += strike
    assert "pings" not in [one.kind for one in suggestions_for(part_of(samples))]


def test_of_the_drop_alone_it_says_what_is_missing_and_no_number():
    (found,) = suggestions_for(part_of(np.concatenate([section("drop")] * 4)))
    assert found.kind == "one part only"
    assert found.integrated_lufs is None
    assert "intro, break and ending are missing" in found.text
    assert "LUFS" not in found.text


def test_of_a_clean_tune_nothing_is_said():
    assert suggestions_for(part_of(tune())) == ()


def test_nothing_is_dropped_by_itself():
    part = part_of(looped("intro", 3))
    before = part.rows.tobytes()
    suggestions_for(part)
    assert part.rows.tobytes() == before


def test_places_are_told_on_the_clock_of_the_pass_from_which_the_part_was_taken():
    here = part_of(np.concatenate([tune(), still(30.0), tune()]))
    rows = here.rows.copy()
    rows["start_frame"] += 600 * RATE_HZ
    (text,) = (one.text for one in suggestions_for(here) if one.kind == "another tune")
    (moved,) = (one.text for one in suggestions_for(replace(here, rows=rows)) if one.kind == "another tune")
    minutes, seconds = re.search(r"silence at (\d+):([\d.]+)", text).groups()
    assert f"silence at {int(minutes) + 10}:{seconds}" in moved
