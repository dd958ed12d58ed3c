"""Events of many kinds, sizes and levels, planted into clean programme: what is found, and where."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.chain import Chain
from meter.findings.whole import A_FILE, findings_of
from meter.passes import summarise
from meter.soundings import Gap
from tests.support import planted
from tests.support.planted import RATE_HZ, Planted
from tests.support.sound import noise, run_to_end, tone

TOLERANCE_S = 0.1 + 1e-9
GAINS = (1.0, 0.5, 0.25)


def find(samples, target=None):
    channels = samples.shape[1]
    chain = Chain(rate_hz=RATE_HZ, channels=channels)
    rows = run_to_end(chain, samples.astype(np.float32))
    return findings_of(rows, rate_hz=RATE_HZ, channels=channels, weights=chain.weights, target=target)


def frames(start_s, end_s):
    return slice(round(start_s * RATE_HZ), round(end_s * RATE_HZ))


def clip(samples, start_s, end_s, *, db):
    part = samples[frames(start_s, end_s)]
    top = np.abs(part).max() * 10 ** (-db / 20)
    is_over = np.abs(part) >= top
    hits = np.flatnonzero((is_over[:-2] & is_over[1:-1] & is_over[2:]).any(axis=1)) / RATE_HZ + start_s
    np.clip(part, -top, top, out=part)
    return Planted("flat tops", float(hits[0]), float(hits[-1]))


def drop(samples, at_s, *, ms):
    end_s = at_s + ms / 1000
    start, stop = round(at_s * RATE_HZ), round(end_s * RATE_HZ)
    samples[start:stop] = 0.0
    return Planted("drop-out", at_s, end_s)


def add_dc(samples, start_s, end_s, *, offset):
    samples[frames(start_s, end_s), 0] += offset
    return Planted("dc", start_s, end_s)


def turn_round(samples, start_s, end_s):
    samples[frames(start_s, end_s), 1] *= -1.0
    return Planted("lost in mono", start_s, end_s)


def plant(seed, gain):
    rng = np.random.default_rng(seed)
    samples = planted.clean().copy() * gain
    jobs = [
        lambda x, at: clip(x, at, at + 2.5, db=rng.choice([4.0, 6.0, 9.0])),
        lambda x, at: drop(x, at, ms=rng.choice([2.0, 8.0, 30.0, 200.0])),
        lambda x, at: add_dc(x, at, at + 5.0, offset=rng.choice([-0.2, 0.05, 0.1])),
        lambda x, at: turn_round(x, at, at + 5.0),
        lambda x, at: planted.lower_one_side(x, at, at + 5.0, db=rng.choice([14.0, 18.0])),
    ]
    order = [*rng.permutation(5), *rng.permutation(5)[:3]]
    return samples, [jobs[job](samples, 4.0 + 10.0 * k + rng.random()) for k, job in enumerate(order)]


@pytest.fixture(scope="module")
def trials():
    told = []
    for seed in range(6):
        samples, events = plant(seed, GAINS[seed % 3])
        told.append((events, find(samples)))
    return told


def is_hit(event, one):
    """The kind, and its beginning within 100 ms; what is longer than a sounding ends within 100 ms too."""
    ends = event.kind == "drop-out" or abs(one.until_s - event.end_s) <= TOLERANCE_S
    return one.kind == event.kind and abs(one.at_s - event.start_s) <= TOLERANCE_S and ends


def test_what_was_planted_is_found_within_100_ms_and_nothing_else(trials):
    events = [event for some, _ in trials for event in some]
    findings = [one for _, some in trials for one in some]
    assert len(events) >= 40
    assert len(Counter(event.kind for event in events)) == 5
    missed = [
        (event, [(one.kind, one.at_s, one.until_s) for one in found if one.kind == event.kind])
        for some, found in trials
        for event in some
        if not any(is_hit(event, one) for one in found)
    ]
    false = [one.text for some, found in trials for one in found if not any(is_hit(e, one) for e in some)]
    assert len(missed) <= 0.05 * len(events), missed
    assert len(false) <= 0.05 * len(findings), false


def of_16_bit(samples):
    return np.rint(samples * 32_767) / 32_768


CLEAN_MATERIAL = {
    "programme": planted.clean,
    "programme of 16 bit": lambda: of_16_bit(planted.clean()),
    "noise": lambda: np.repeat(noise(20.0, seed=4, level_dbfs=-20.0, channels=1), 2, axis=1),
    "a chord": lambda: sum(tone(f, 20.0, level_dbfs=-20.0) for f in (55.0, 110.0, 220.3, 331.1)),
    "a sub of 16 bit": lambda: of_16_bit(tone(41.2, 20.0, level_dbfs=-1.0)),
}
"""Made when it is measured: the programme takes seconds."""


@pytest.mark.parametrize("name", CLEAN_MATERIAL)
def test_clean_material_has_no_finding(name):
    assert find(CLEAN_MATERIAL[name]()) == ()


@given(before_s=st.floats(0.0, 8.0), after_s=st.floats(0.0, 8.0))
@settings(max_examples=6)
def test_adding_silence_raises_nothing(before_s, after_s):
    part = planted.clean(1)[: 10 * RATE_HZ]
    still = [np.zeros((round(seconds * RATE_HZ), 2)) for seconds in (before_s, after_s)]
    rows = [
        run_to_end(Chain(rate_hz=RATE_HZ, channels=2), np.asarray(samples, np.float32))
        for samples in (part, np.concatenate([still[0], part, still[1]]))
    ]
    found = findings_of(rows[1], rate_hz=RATE_HZ, channels=2, weights=(1.0, 1.0))
    assert {one.kind for one in found} <= {"silent end"}
    plain, padded = (summarise(some, rate_hz=RATE_HZ, channels=2) for some in rows)
    for key in ("momentary_max_lufs", "short_term_max_lufs", "true_peak_dbtp", "flat_top_runs", "dropouts"):
        assert getattr(padded, key) <= getattr(plain, key) + 0.01, key


def test_long_silence_at_both_ends_is_found_and_short_is_not():
    part = planted.clean(1)[: 6 * RATE_HZ]
    still = np.zeros((round(9.0 * RATE_HZ), 2))
    found = find(np.concatenate([still[: 2 * RATE_HZ], part, still]))
    assert [one.kind for one in found] == ["silent end", "silent end"]
    assert [round(one.at_s, 1) for one in found] == [0.0, pytest.approx(8.0, abs=0.2)]
    assert find(np.concatenate([still[: RATE_HZ // 2], part, still[: 3 * RATE_HZ]])) == ()


def test_each_sentence_says_what_where_how_much_why_what_to_try_and_why_it_may_be_fine():
    samples, _ = plant(1, 1.0)
    for one in find(samples):
        assert any(word in one.text for word in ("leave", "unless")), one.text
        assert ":" in one.text and "; " in one.text
        assert one.unit


def findings_in(samples, **how):
    chain = Chain(rate_hz=RATE_HZ, channels=2)
    rows = run_to_end(chain, samples.astype(np.float32))
    return findings_of(rows, rate_hz=RATE_HZ, channels=2, weights=chain.weights, **how)


def test_overs_of_a_lossy_file_are_not_blamed_on_a_clipper():
    hot = tone(997.0, 4.0, level_dbfs=1.0, rate_hz=RATE_HZ)
    (plain,) = (one for one in findings_in(hot) if one.kind == "over")
    assert "as after a clipper or under a ceiling set too high" in plain.text
    (lossy,) = (one for one in findings_in(hot, info=replace(A_FILE, is_lossy=True)) if one.kind == "over")
    assert lossy.text.endswith(
        ", which decoding may have added to a master without room for it; lower the master by as much "
        "before it is encoded, unless it is meant to clip"
    )


def test_what_is_missing_in_a_file_is_not_blamed_on_the_computer():
    (found,) = findings_in(planted.clean(1), gaps=(Gap(at_s=22.0, frames=RATE_HZ),))
    assert found.text == (
        "1.0 s were lost at 0:22.0: the file is cut short or damaged there; copy or export it again, or "
        "leave it if nothing is missing to the ear"
    )


def test_of_a_whole_pass_nothing_is_said_to_go_on():
    samples = planted.clean(1).copy()
    samples[10 * RATE_HZ :, 1] *= -1.0
    found = findings_in(samples)
    assert [one.kind for one in found] == ["lost in mono"]
    assert "so far" not in found[0].text and "since" not in found[0].text


def test_dc_in_both_channels_is_one_finding_that_names_both():
    samples = planted.clean(1).copy() * 0.5
    samples[5 * RATE_HZ : 15 * RATE_HZ] += np.array([0.05, 0.1])
    (found,) = (one for one in find(samples) if one.kind == "dc")
    assert found.text.startswith("left and right stand up to +10.0 % off centre from 0:05.0 to 0:15.0, which")
    samples[5 * RATE_HZ : 15 * RATE_HZ, 0] -= 0.1
    (found,) = (one for one in find(samples) if one.kind == "dc")
    assert found.text.startswith("right stands +10.0 % off centre")


def test_what_leans_to_one_side_for_a_moment_is_no_dc():
    samples = planted.clean(1).copy() * 0.5
    samples[5 * RATE_HZ : 6 * RATE_HZ, 0] += 0.2
    assert [one.kind for one in find(samples) if one.kind == "dc"] == []


def test_where_one_part_of_a_long_loss_is_far_worse_its_place_is_named():
    rng = np.random.default_rng(1)
    at_s = np.arange(40 * RATE_HZ) / RATE_HZ
    sub = 0.3 * np.sin(2 * np.pi * 50.0 * at_s)
    turned = 0.3 * np.sin(2 * np.pi * 50.0 * at_s + np.pi / 2)
    samples = np.stack([sub, turned], axis=1) + 0.001 * rng.standard_normal((len(sub), 2))
    samples[20 * RATE_HZ : 26 * RATE_HZ, 1] = -0.9 * samples[20 * RATE_HZ : 26 * RATE_HZ, 0]
    (found,) = (one for one in find(samples) if one.kind == "lost in mono")
    assert "from 0:00.0 to 0:40.0, " in found.text
    told = found.text.partition(" dB in the 3 s from 0:2")
    assert float(told[0].rpartition(", ")[2]) > 20.0
    assert 0.0 <= float(told[2].partition(" on (at most")[0]) <= 3.0
