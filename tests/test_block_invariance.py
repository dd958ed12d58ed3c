"""The same samples in any cutting give the same soundings, bit for bit, and the same readings."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.chain import Chain
from meter.soundings import Over, Reading
from tests.support.sound import noise, run, run_to_end, silence, tone

# A rate whose 10 ms are whole samples (8000, 44100, 48000), one where they are not (11025), and one whose
# block of 50 ms divides badly (8300: 415 = 5 x 83); mono, stereo, 5.1.
KINDS = [(8000, 2), (8300, 2), (11_025, 2), (11_025, 6), (44_100, 1), (44_100, 6), (48_000, 2)]


@lru_cache
def piece(rate_hz: int, channels: int) -> np.ndarray:
    """Noise with overs, samples that are no numbers, more silence than filters need, a tone with offset."""
    loud = noise(0.57, seed=rate_hz + channels, level_dbfs=-6.0, rate_hz=rate_hz, channels=channels)
    spoilt = noise(0.31, seed=3, level_dbfs=-20.0, rate_hz=rate_hz, channels=channels)
    spoilt[rate_hz // 9, 0] = np.nan
    spoilt[rate_hz // 7 : rate_hz // 7 + 3, -1] = (np.inf, -np.inf, -1e30)
    still = silence(1.1, rate_hz=rate_hz, channels=channels)
    low = tone(
        50.0,
        0.43,
        rate_hz=rate_hz,
        phases_deg=tuple(40.0 * k for k in range(channels)),
        gains=(1.0,) * channels,
        offset=0.01,
    )
    loud = np.clip(loud, -0.3, 0.3)
    loud[rate_hz // 4 : rate_hz // 4 + rate_hz // 20] = 0.0
    low = np.maximum(low, -0.2)
    samples = np.concatenate([loud, spoilt, still, low])
    samples[rate_hz - 7] = 1.05  # an over whose reading comes when its sounding is over
    return samples


def end_state(chain: Chain) -> tuple[Reading, list[Over], int]:
    return chain.reading(), chain.overs, chain.over_count


@lru_cache
def uncut(rate_hz: int, channels: int) -> tuple[bytes, tuple[Reading, list[Over], int]]:
    chain = Chain(rate_hz=rate_hz, channels=channels, over_limit_dbtp=-1.0)
    rows = run_to_end(chain, piece(rate_hz, channels))
    assert rows["overs"].sum() == chain.over_count > 0
    assert rows["nonfinite"].sum() == 4
    assert rows["flat_tops"].sum() > 10
    assert rows["dropouts"].sum() >= 1
    return rows.tobytes(), end_state(chain)


def cuts_in(frames: int) -> st.SearchStrategy[list[int]]:
    return st.lists(st.integers(0, frames), max_size=30)


@pytest.mark.parametrize(("rate_hz", "channels"), KINDS)
@given(data=st.data())
@settings(max_examples=12)
def test_any_cutting_gives_the_same_soundings(rate_hz, channels, data):
    samples = piece(rate_hz, channels)
    cuts = data.draw(cuts_in(len(samples)))
    chain = Chain(rate_hz=rate_hz, channels=channels, over_limit_dbtp=-1.0)
    rows = run_to_end(chain, samples, cuts)
    assert (rows.tobytes(), end_state(chain)) == uncut(rate_hz, channels)


@pytest.mark.parametrize("rate_hz", [8000, 11_025])
def test_single_samples_give_the_same_soundings(rate_hz):
    samples = piece(rate_hz, 2)[-rate_hz:]
    rows, one_by_one = (
        run_to_end(Chain(rate_hz=rate_hz, channels=2), samples, cuts) for cuts in ((), range(1, len(samples)))
    )
    assert rows.tobytes() == one_by_one.tobytes()


@pytest.mark.parametrize("piece_s", [0.01, 0.05, 0.1, 1.0, 10.0])
def test_pieces_of_a_steady_length_give_the_same_soundings(piece_s):
    """The sizes that sources and files deliver, over more than one batch of blocks."""
    samples = np.concatenate([piece(48_000, 2)] * 3)
    whole, cut = (
        run_to_end(Chain(rate_hz=48_000, channels=2), samples, cuts)
        for cuts in ((), range(round(piece_s * 48_000), len(samples), round(piece_s * 48_000)))
    )
    assert whole.tobytes() == cut.tobytes()


@pytest.mark.parametrize(("rate_hz", "channels"), KINDS)
@pytest.mark.parametrize("piece_s", [0.013, 5.0])
def test_threads_beside_give_the_same_soundings(rate_hz, channels, piece_s):
    samples = np.concatenate([piece(rate_hz, channels)] * 2)
    step = round(piece_s * rate_hz)
    with Chain(rate_hz=rate_hz, channels=channels, over_limit_dbtp=-1.0, beside=True) as beside:
        rows = run_to_end(beside, samples, range(step, len(samples), step))
    alone = Chain(rate_hz=rate_hz, channels=channels, over_limit_dbtp=-1.0)
    assert run_to_end(alone, samples).tobytes() == rows.tobytes()
    assert end_state(alone) == end_state(beside)


@given(data=st.data())
@pytest.mark.parametrize(("rate_hz", "channels"), [(8000, 2), (11_025, 2), (48_000, 1)])
@settings(max_examples=12)
def test_the_reading_at_a_moment_does_not_depend_on_the_cutting(rate_hz, channels, data):
    samples = piece(rate_hz, channels)
    moment = data.draw(st.integers(0, len(samples)))
    cuts = [cut for cut in data.draw(cuts_in(len(samples))) if cut <= moment]
    at_once, in_pieces = (Chain(rate_hz=rate_hz, channels=channels, over_limit_dbtp=-1.0) for _ in range(2))
    run(at_once, samples[:moment])
    run(in_pieces, samples[:moment], cuts)
    assert end_state(at_once) == end_state(in_pieces)


def test_a_reading_changes_nothing():
    samples = piece(48_000, 2)
    asked, unasked = Chain(rate_hz=48_000, channels=2), Chain(rate_hz=48_000, channels=2)
    parts = []
    for start in range(0, len(samples), 1999):
        parts.append(asked.process(samples[start : start + 1999]))
        assert asked.reading() == asked.reading()
    rows = np.concatenate([*parts, asked.flush()])
    assert rows.tobytes() == run_to_end(unasked, samples).tobytes()


@pytest.mark.parametrize(("rate_hz", "channels"), KINDS)
def test_a_chain_that_was_flushed_measures_like_a_new_one(rate_hz, channels):
    used = Chain(rate_hz=rate_hz, channels=channels, over_limit_dbtp=-1.0)
    run_to_end(used, noise(0.777, seed=9, level_dbfs=3.0, rate_hz=rate_hz, channels=channels))
    rows = run_to_end(used, piece(rate_hz, channels))
    assert (rows.tobytes(), end_state(used)) == uncut(rate_hz, channels)


def test_float64_samples_measure_like_their_float32():
    samples = piece(48_000, 2)
    wide, narrow = (
        run_to_end(Chain(rate_hz=48_000, channels=2), x) for x in (samples.astype(float), samples)
    )
    assert wide.tobytes() == narrow.tobytes()


# What may happen to a stream: samples come, some are lost, the user marks, the pass ends.
EVENTS = st.lists(
    st.one_of(st.integers(0, 7000), st.sampled_from(["gap", "mark", "flush"])), min_size=1, max_size=12
)


def lived(chain: Chain, samples: np.ndarray, events: list[int | str], step: int) -> list[bytes]:
    """Rows of each pass, as bytes; samples come in pieces of `step`."""
    passes, rows, at = [], [], 0
    for event in [*events, "flush"]:
        if event == "gap":
            rows.append(chain.gap(77))
        elif event == "mark":
            chain.mark()
        elif event == "flush":
            rows.append(chain.flush())
            passes.append(np.concatenate(rows).tobytes())
            rows = []
        else:
            for start in range(at, at + event, step):
                rows.append(chain.process(samples[start : min(start + step, at + event)]))
            at += event
    return passes


@given(events=EVENTS, step=st.integers(50, 9000))
@pytest.mark.parametrize("rate_hz", [8000, 11_025])
@settings(max_examples=20)
def test_gaps_marks_and_ends_fall_the_same_in_any_cutting_and_beside(rate_hz, events, step):
    samples = np.concatenate([piece(rate_hz, 2)] * 4)
    plain, cut = (Chain(rate_hz=rate_hz, channels=2, over_limit_dbtp=-1.0) for _ in range(2))
    wanted = lived(plain, samples, events, 7000)
    assert lived(cut, samples, events, step) == wanted
    with Chain(rate_hz=rate_hz, channels=2, over_limit_dbtp=-1.0, beside=True) as beside:
        assert lived(beside, samples, events, step) == wanted
    for other in (cut, beside):
        assert end_state(other) == end_state(plain)
        assert (other.gaps, other.lost_frames) == (plain.gaps, plain.lost_frames)
