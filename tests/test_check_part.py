"""`--from` and `--to`: which frames are measured, and what is said of times that cannot be meant."""

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from meter.check import Failed, Options, check_file, check_one
from meter.check_json import file_object
from meter.check_part import Part, part_from
from meter.check_text import block
from meter.errors import AudioFileError, UsageError
from meter.files import open_audio
from meter.soundings import Gap
from tests.support.encode import encode

RATE_HZ = 44_100


def numbered(frames):
    """Every frame tells its place."""
    return np.stack([np.arange(frames) / 2.0**20, np.zeros(frames)], axis=1)


@pytest.fixture(scope="module")
def ramp(tmp_path_factory):
    path = tmp_path_factory.mktemp("part") / "a.wav"
    soundfile.write(path, numbered(20 * RATE_HZ), RATE_HZ, "FLOAT")
    return path


def places(path, part):
    with open_audio(path) as audio:
        read = [block[:, 0].copy() for block in part.blocks(audio)]
    return np.rint(np.concatenate(read) * 2.0**20).astype(int)


@given(st.floats(0.0, 19.9), st.floats(0.0001, 0.1) | st.floats(0.1, 19.0))
def test_a_part_holds_exactly_its_frames(ramp, from_s, length_s):
    to_s = min(from_s + length_s, 20.0)
    first, last = round(from_s * RATE_HZ), round(to_s * RATE_HZ)
    if first < last:
        np.testing.assert_array_equal(places(ramp, Part(from_s=from_s, to_s=to_s)), np.arange(first, last))


def test_without_an_end_it_goes_on_to_the_end(ramp):
    expected = np.arange(round(19.5 * RATE_HZ), 20 * RATE_HZ)
    np.testing.assert_array_equal(places(ramp, Part(from_s=19.5)), expected)
    assert len(places(ramp, Part(from_s=3.0, to_s=20.0))) == 17 * RATE_HZ


def test_it_is_as_exact_in_a_compressed_file(tmp_path):
    samples = np.random.default_rng(3).integers(-9000, 9000, (100_000, 2)) / 32768.0
    path = encode(tmp_path / "a.m4a", samples, codec="alac", container="ipod")
    with open_audio(path) as audio:
        read = np.concatenate([block.copy() for block in Part(from_s=0.5, to_s=1.25).blocks(audio)])
    np.testing.assert_array_equal(read, samples[24_000:60_000].astype(np.float32))


def test_a_part_measures_what_that_part_as_a_file_measures(tmp_path):
    samples = 0.1 * np.random.default_rng(4).standard_normal((40 * RATE_HZ, 2))
    samples[: 5 * RATE_HZ] *= 3.0  # what is left out would be the loudest
    soundfile.write(tmp_path / "a.wav", samples, RATE_HZ, "FLOAT")
    soundfile.write(tmp_path / "b.wav", samples[6 * RATE_HZ : 38 * RATE_HZ], RATE_HZ, "FLOAT")
    part = check_file(str(tmp_path / "a.wav"), Options(part=Part(from_s=6.0, to_s=38.0)))
    own = check_file(str(tmp_path / "b.wav"), Options())
    for key in ("integrated_lufs", "loudness_range_lu", "loudest_30s_lufs", "correlation", "seconds"):
        assert getattr(part.summary, key) == getattr(own.summary, key), key
    assert part.summary.loudest_30s_at_s == own.summary.loudest_30s_at_s + 6.0
    assert "\n0:32.0 from 0:06.0 · stereo" in block(part)
    assert (file_object(part)["from_s"], file_object(part)["to_s"]) == (6.0, 38.0)


@pytest.mark.parametrize(
    ("part", "words"),
    [
        (Part(from_s=20.0), "--from 0:20.000 lies outside the file, which ends at 0:20.000"),
        (Part(from_s=70.5, to_s=80.0), "--to 1:20.000 lies outside the file, which ends at 0:20.000"),
        (Part(to_s=20.01), "--to 0:20.010 lies outside the file, which ends at 0:20.000; choose a time"),
    ],
)
def test_a_time_outside_the_file_is_said(ramp, part, words):
    result = check_one(str(ramp), Options(part=part))
    assert isinstance(result, Failed)
    assert words in result.message
    with open_audio(ramp) as audio, pytest.raises(AudioFileError):
        list(part.blocks(audio))


def test_only_what_was_lost_in_the_part_counts(tmp_path):
    soundfile.write(tmp_path / "a.wav", numbered(4 * RATE_HZ), RATE_HZ, "PCM_16")
    data = (tmp_path / "a.wav").read_bytes()
    (tmp_path / "a.wav").write_bytes(data[: 44 + 3 * RATE_HZ * 4])
    cut = check_file(str(tmp_path / "a.wav"), Options(part=Part(from_s=1.0)))
    assert cut.summary.gaps == (Gap(at_s=3.0, frames=RATE_HZ),)
    whole = check_file(str(tmp_path / "a.wav"), Options(part=Part(from_s=1.0, to_s=2.0)))
    assert (whole.summary.gaps, whole.notes) == ((), ())


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        *[("90", 90.0), ("1:30", 90.0), ("1:30.25", 90.25)],
        *[("0:00", 0.0), ("90:00", 5400.0), ("1:02:03.5", 3723.5)],
    ],
)
def test_times_are_minutes_and_seconds_or_seconds(text, seconds):
    assert part_from(text, None) == Part(from_s=seconds)
    assert part_from(None, "9999") == Part(to_s=9999.0)


@pytest.mark.parametrize("text", ["", "x", "-3", "1:60", "1:2:99", "nan", "inf", "1,5", "1:-2", "٣"])
def test_what_is_no_time_is_said(text):
    with pytest.raises(UsageError, match="came; expected minutes and seconds such as 1:30"):
        part_from(None, text)


@pytest.mark.parametrize(("begin", "end"), [("30", "30"), ("1:00", "0:59"), (None, "0")])
def test_an_end_before_the_beginning_is_said(begin, end):
    with pytest.raises(UsageError, match="expected an end behind the beginning"):
        part_from(begin, end)
