"""Files that FFmpeg decodes: what comes of them, and the one sentence for what does not.

Levels: ITU-R BS.1770-5 (11/2023), Annex 1: a 997 Hz sine of 0 dBFS on one of L, C, R reads -3.01 LKFS
(SEEN-P). Lossless codings give back the samples bit by bit. The edit list of MP4: ISO/IEC 14496-12
§8.6.6, from memory.
"""

import os
import struct

import av
import numpy as np
import pytest

from meter.av_kinds import demuxer_for
from meter.capture.file_source import FileSource
from meter.check import Failed, Options, check_file, check_one
from meter.errors import AudioFileError
from meter.files import open_audio
from tests.support.encode import encode, encode_video

RATE_HZ = 48_000

LOSSLESS = [
    ("a.m4a", "alac", "ipod"), ("a.mov", "pcm_s16le", "mov"), ("a.mov", "pcm_s24le", "mov"),
    ("a.mov", "pcm_f32le", "mov"), ("a.mka", "flac", "matroska"),
]  # fmt: skip

LOSSY = [
    ("a.m4a", "aac", "ipod", "AAC in MP4"), ("a.mkv", "aac", "matroska", "AAC in Matroska"),
    ("a.webm", "libopus", "webm", "Opus in Matroska"), ("a.wma", "wmav2", "asf", "WMA in ASF"),
    ("a.aac", "aac", "adts", "AAC in ADTS"), ("a.ac3", "ac3", "ac3", "AC-3"),
    ("a.ts", "aac", "mpegts", "AAC in MPEG transport stream"), ("a.avi", "ac3", "avi", "AC-3 in AVI"),
    ("a.mp4", "libmp3lame", "mp4", "MP3 in MP4"), ("a.flv", "aac", "flv", "AAC in FLV"),
]  # fmt: skip


def sine(seconds, level_dbfs=-23.0, channels=2):
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    wave = 10.0 ** (level_dbfs / 20.0) * np.sin(2.0 * np.pi * 997.0 * t)
    return np.repeat(wave[:, None], channels, axis=1)


def noise(frames, channels=2):
    return np.random.default_rng(5).integers(-9000, 9000, (frames, channels)) / 32768.0


def read_all(path, *, seconds=0.3, **how):
    with open_audio(path, **how) as audio:
        return np.concatenate([block.copy() for block in audio.blocks(seconds=seconds)]), audio


@pytest.mark.parametrize(("name", "codec", "container"), LOSSLESS)
def test_lossless_sound_comes_back_bit_by_bit(tmp_path, name, codec, container):
    samples = noise(30_011)
    read, audio = read_all(encode(tmp_path / name, samples, codec=codec, container=container), seconds=0.07)
    np.testing.assert_array_equal(read, samples.astype(np.float32))
    assert read.dtype == np.float32
    assert (audio.rate_hz, audio.channels, audio.weights) == (RATE_HZ, 2, (1.0, 1.0))
    assert (audio.lost_frames, audio.notes) == (0, [])


def test_wavpack_is_read(tmp_path):
    samples = noise(20_000)
    read, _ = read_all(encode(tmp_path / "a.wv", samples, codec="wavpack", container="wv", form="s16p"))
    np.testing.assert_array_equal(read, samples.astype(np.float32))


@pytest.mark.parametrize(("name", "codec", "container", "kind"), LOSSY)
def test_a_sine_reads_its_level_from_every_lossy_kind(tmp_path, name, codec, container, kind):
    found = check_file(str(encode(tmp_path / name, sine(3.0), codec=codec, container=container)), Options())
    assert found.summary.integrated_lufs == pytest.approx(-23.0, abs=0.1)
    assert found.summary.seconds == pytest.approx(3.0, abs=0.06)  # a packet at most
    assert (found.kind, found.summary.lost_frames, found.notes) == (kind, 0, ())


def test_priming_and_padding_that_the_file_states_are_taken_off(tmp_path):
    """The encoder's delay is 1024 frames; the edit list is made to say so."""
    samples = sine(1.0, -6.0)
    data = bytearray(encode(tmp_path / "a.m4a", samples, codec="aac", container="ipod").read_bytes())
    at = data.index(b"elst") + 12
    (timescale,) = struct.unpack_from(">I", data, data.index(b"mvhd") + 16)
    struct.pack_into(">Ii", data, at, timescale, 1024)
    (tmp_path / "b.m4a").write_bytes(data)
    read, audio = read_all(tmp_path / "b.m4a")
    assert len(read) == audio.promised_frames == len(samples)
    assert np.abs(read[:, 0] - samples[:, 0])[3000:-3000].max() < 0.02  # one frame late would be 0.065


def test_the_sound_of_a_video_is_measured(tmp_path):
    for name, container in (("a.mp4", "mp4"), ("a.mkv", "matroska"), ("a.mov", "mov")):
        found = check_file(str(encode_video(tmp_path / name, sine(1.0), container=container)), Options())
        assert found.summary.integrated_lufs == pytest.approx(-23.0, abs=0.1)


def test_weights_follow_the_loudspeakers_that_the_file_names(tmp_path):
    """ITU-R BS.1770-5, Annex 1 Table 3: 1.41 for the surrounds, none for LFE. SEEN-P."""
    for layout, weights in (
        ("mono", (1.0,)),
        ("quad", (1.0, 1.0, 1.41, 1.41)),
        ("5.1", (1.0, 1.0, 1.0, 0.0, 1.41, 1.41)),
    ):
        samples = noise(20_000, len(weights))
        path = encode(tmp_path / f"{layout}.mka", samples, codec="flac", container="matroska", layout=layout)
        read, audio = read_all(path)
        assert audio.weights == weights
        np.testing.assert_array_equal(read, samples.astype(np.float32))


def test_a_third_channel_that_is_the_bass_has_no_weight(tmp_path):
    """ITU-R BS.1770-5, Annex 1: LFE is left out; without a layout three channels are L, R, C. SEEN-P."""
    path = encode(tmp_path / "a.mov", noise(5000, 3), codec="pcm_s16le", container="mov", layout="2.1")
    with open_audio(path) as audio:
        assert audio.weights == (1.0, 1.0, 0.0)


def test_a_pair_is_read_as_left_and_right(tmp_path):
    samples = noise(20_000, 6)
    path = encode(tmp_path / "a.mka", samples, codec="flac", container="matroska", layout="5.1")
    read, audio = read_all(path, pair=(6, 2))
    np.testing.assert_array_equal(read, samples[:, [5, 1]].astype(np.float32))
    assert (audio.channels, audio.file_channels, audio.weights) == (2, 6, (1.0, 1.0))
    with pytest.raises(AudioFileError, match="--channels 7,8 was asked for, but the file has 6 channels"):
        open_audio(path, pair=(7, 8))


def test_blocks_share_one_buffer(tmp_path):
    path = encode(tmp_path / "a.m4a", noise(9000), codec="alac", container="ipod")
    with open_audio(path) as audio:
        assert len({block.__array_interface__["data"][0] for block in audio.blocks(seconds=0.01)}) == 1


def test_it_is_played_as_a_live_source_too(tmp_path):
    samples = noise(20_000)
    source = FileSource(encode(tmp_path / "a.m4a", samples, codec="alac", container="ipod"), as_fast=True)
    source.start()
    reader = source.ring.reader()
    source.needs(reader)
    source._thread.join(10.0)
    assert source.ring.written == len(samples)
    source.stop()


# --- damage ---------------------------------------------------------------------------------


def test_packets_that_are_gone_leave_a_gap_and_the_rest_keeps_its_time(tmp_path):
    samples = noise(10 * RATE_HZ)
    path = encode(tmp_path / "a.mka", samples, codec="flac", container="matroska")
    data = bytearray(path.read_bytes())
    data[len(data) // 4 : len(data) // 4 + 60_000] = bytes(60_000)
    path.write_bytes(data)
    read, audio = read_all(path)
    lost = np.isnan(read[:, 0])
    assert 0.1 * RATE_HZ < lost.sum() < 6.0 * RATE_HZ  # what holds frames together there is 5 s long
    assert audio.lost_frames == lost.sum() == sum(gap.frames for gap in audio.gaps)
    assert "the file is damaged" in audio.notes[0]
    assert "could not be decoded, once, first at 0:0" in audio.notes[0]
    after = len(read) - RATE_HZ
    expected = samples[after : after + 999].astype(np.float32)
    shifts = [k for k in range(-60, 61) if np.array_equal(read[after + k : after + k + 999], expected)]
    assert len(shifts) == 1  # times are stated in ms there
    found = check_file(str(path), Options())
    assert found.notes == tuple(audio.notes)
    assert found.summary.gaps == audio.gaps


def test_a_file_cut_short_says_how_much_came(tmp_path):
    path = encode(tmp_path / "a.mka", noise(4 * RATE_HZ), codec="flac", container="matroska")
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    _, audio = read_all(path)
    assert 1.5 * RATE_HZ < audio.frames_read < 2.5 * RATE_HZ
    assert audio.lost_frames == audio.promised_frames - audio.frames_read
    assert audio.notes[-1].startswith("the header promises 192")


def test_an_mp4_cut_short_before_its_index_gets_one_sentence(tmp_path):
    path = encode(tmp_path / "a.m4a", sine(1.0), codec="aac", container="ipod")
    path.write_bytes(path.read_bytes()[:9000])
    assert check_one(str(path), Options()) == Failed(
        name=str(path),
        message=f"{path}: this MP4 file has no index that can be read: it is damaged, or was cut short while "
        "it was written or copied; export it again",
    )


@pytest.mark.parametrize(("name", "container"), [("a.mp4", "mp4"), ("a.mkv", "matroska"), ("a.avi", "avi")])
def test_a_video_without_sound_gets_one_sentence(tmp_path, name, container):
    path = encode_video(tmp_path / name, None, container=container)
    with pytest.raises(AudioFileError, match=r"there is no sound in this file, so nothing to measure$"):
        open_audio(path)


def test_a_refused_file_is_closed_again(tmp_path):
    path = encode_video(tmp_path / "a.mp4", None, container="mp4")
    before = set(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else set()
    with pytest.raises(AudioFileError):
        open_audio(path)
    assert (set(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else set()) == before


def test_what_one_library_refuses_is_tried_with_the_other(tmp_path):
    samples = noise(5 * 4096)
    path = encode(tmp_path / "a.caf", samples, codec="alac", container="caf")
    assert path.read_bytes()[:4] == b"caff"
    read, _ = read_all(path)
    np.testing.assert_allclose(read, samples, atol=1e-6)


def test_a_playlist_is_no_way_to_other_files(tmp_path):
    """FFmpeg's own guess would follow it."""
    good = encode(tmp_path / "a.aac", sine(1.0), codec="aac", container="adts")
    for name, text in (
        ("list.m3u8", f"#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\n{good}\n#EXT-X-ENDLIST\n"),
        ("list.ffconcat", f"ffconcat version 1.0\nfile {good.name}\n"),
    ):
        (tmp_path / name).write_text(text)
        with pytest.raises(AudioFileError, match="this is no audio file that can be read here"):
            open_audio(tmp_path / name)


def test_an_mp3_is_not_taken_for_aac():
    assert demuxer_for(bytes.fromhex("fffb9064000000")) is None  # MPEG-1 layer III
    assert demuxer_for(bytes.fromhex("fff15080000000")) == "aac"


def test_the_library_says_nothing_of_its_own(tmp_path, capfd):
    path = encode(tmp_path / "a.m4a", sine(1.0), codec="aac", container="ipod")
    data = bytearray(path.read_bytes())
    capfd.readouterr()
    data[2000:6000] = bytes(4000)
    path.write_bytes(data)
    check_one(str(path), Options())
    assert capfd.readouterr() == ("", "")
    assert av.logging.get_level() is None
