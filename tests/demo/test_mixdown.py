"""The tune as a whole: always the same samples, of the promised shape, in any blocks."""

import hashlib
import subprocess
import sys

import numpy as np
import pytest

import demo_signals
from demo_signals import mixdown, pattern
from meter.errors import UsageError


def test_the_tune_is_stereo_float32_of_the_stated_length():
    tune = demo_signals.render()
    assert tune.dtype == np.float32
    assert tune.shape == (round(demo_signals.duration_s() * demo_signals.RATE_HZ), 2)
    assert np.isfinite(tune).all()


def test_the_first_bar_begins_at_the_stated_time_after_silence():
    first = round(demo_signals.FIRST_DOWNBEAT_S * demo_signals.RATE_HZ)
    assert not demo_signals.render()[:first].any()
    assert demo_signals.render()[first : first + 480].any()


def test_the_tune_rings_out_to_silence():
    assert np.abs(demo_signals.render()[-480:]).max() < 1e-4


def test_the_tune_carries_no_dc():
    assert np.abs(demo_signals.render().mean(axis=0, dtype=float)).max() < 1e-3


@pytest.mark.long
def test_another_process_renders_the_same_bits():
    program = "import demo_signals, hashlib; print(hashlib.sha256(demo_signals.render().data).hexdigest())"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == hashlib.sha256(demo_signals.render().data).hexdigest()


def test_the_kept_tune_cannot_be_written_to():
    with pytest.raises(ValueError, match="read-only"):
        demo_signals.render()[0] = 1.0


@pytest.mark.parametrize("block_frames", [4801, 1 << 20, 1 << 24])
def test_the_blocks_of_a_stream_put_together_are_the_tune(block_frames):
    blocks = list(demo_signals.stream(block_frames))
    assert all(len(block) == block_frames for block in blocks[:-1])
    assert np.array_equal(np.concatenate(blocks), demo_signals.render())


@pytest.fixture
def forgotten(monkeypatch):
    """Nothing was rendered yet; rendering takes no time. The tune as it is."""
    tune = demo_signals.render()
    monkeypatch.setattr(mixdown, "made", tune.copy)
    monkeypatch.setattr("demo_signals.apart.made_into", lambda file: False)
    for kept in (mixdown.render, mixdown._kept):
        kept.cache_clear()
    yield tune
    for kept in (mixdown.render, mixdown._kept):
        kept.cache_clear()
    mixdown.render()  # the same samples again, for the tests that follow


def test_a_stream_keeps_the_tune_in_a_file_and_not_in_memory(forgotten):
    two = zip(demo_signals.stream(1 << 20), demo_signals.stream(1 << 20), strict=True)
    pairs = list(two)
    for side in (0, 1):
        assert np.array_equal(np.concatenate([pair[side] for pair in pairs]), forgotten)
    assert not any(block.flags.writeable for block in pairs[0])
    assert mixdown.render.cache_info().currsize == 0
    assert np.array_equal(demo_signals.render(), forgotten)


def test_where_no_file_can_be_written_the_tune_is_kept_in_memory(forgotten, monkeypatch):
    def full():
        raise OSError("no space left")

    monkeypatch.setattr("tempfile.TemporaryFile", full)
    assert np.array_equal(np.concatenate(list(demo_signals.stream(1 << 22))), forgotten)


def test_a_stream_refuses_empty_blocks_at_once():
    with pytest.raises(UsageError, match="block_frames is 0; give 1 or more frames a block"):
        demo_signals.stream(0)


def test_importing_the_demo_loads_no_scipy_and_no_sound_file_library():
    program = "import sys, demo_signals; print(*{'scipy', 'soundfile', 'av'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert not done.stdout.split()


def test_the_drops_are_loud_and_the_breakdown_is_not():
    def rms(section):
        start, stop = (pattern.bar_to_s(bar) for bar in (section.start_bar, section.end_bar + 1))
        piece = demo_signals.render()[round(start * pattern.RATE_HZ) : round(stop * pattern.RATE_HZ)]
        return float(np.sqrt(np.mean(piece.astype(float) ** 2)))

    for drop in (pattern.DROP_A, pattern.DROP_B):
        assert rms(drop) > 1.5 * max(rms(s) for s in (pattern.INTRO, pattern.BREAKDOWN, pattern.OUTRO))


def test_everything_tonal_makes_room_under_each_kick_and_comes_back():
    curve = mixdown._duck_curve()
    for hit in pattern.kicks():
        at = round(hit.at_s * pattern.RATE_HZ)
        assert curve[at : at + 3000].max() < 0.01
        assert curve[at + 6300] > 0.99
