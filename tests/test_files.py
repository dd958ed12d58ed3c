"""Audio files: what is read, and the one sentence for each that cannot be.

Channel masks and header layouts: RIFF WAVE with WAVE_FORMAT_EXTENSIBLE, EBU Tech 3306 (RF64),
AIFF-C draft of 1991; all from memory. Channel order in Ogg: Vorbis I specification §4.3.9,
from memory, and seen in Opus that FFmpeg encoded. Samples are held to libsndfile read whole.
"""

import io
import os
import struct
import threading

import numpy as np
import pytest
import soundfile

from meter.errors import AudioFileError
from meter.file_problems import decoder_keeps_quiet
from meter.files import open_audio
from meter.read_ahead import read_ahead
from meter.wav_header import RIFF_LIMIT_BYTES, HeaderError, read_wav_header

RATE_HZ = 44_100


def noise(frames=RATE_HZ, channels=2, seed=1):
    return 0.1 * np.random.default_rng(seed).standard_normal((frames, channels))


def write(path, samples, rate_hz=RATE_HZ, **how):
    # In pieces: the library's Vorbis encoder overruns its stack on a whole minute at once.
    with soundfile.SoundFile(path, "w", rate_hz, samples.shape[1], **how) as file:
        for start in range(0, len(samples), RATE_HZ):
            file.write(samples[start : start + RATE_HZ])
    return path


def read_all(path, *, seconds=1.0, **how):
    with open_audio(path, **how) as audio:
        return np.concatenate([block.copy() for block in audio.blocks(seconds=seconds)]), audio


def wav_bytes(
    *,
    frames=1000,
    channels=2,
    rate_hz=RATE_HZ,
    bits=16,
    mask=None,
    data_bytes=None,
    magic=b"RIFF",
    ds64=None,
    before=b"",
    after=b"",
):
    """A WAV file put together by hand; every count can be made to lie."""
    frame_bytes = channels * bits // 8
    tag = 1 if mask is None else 0xFFFE
    fmt = struct.pack("<HHIIHH", tag, channels, rate_hz, rate_hz * frame_bytes, frame_bytes, bits)
    if mask is not None:
        guid_tail = bytes.fromhex("000000001000800000aa00389b71")
        fmt += struct.pack("<HHIH", 22, bits, mask, 1) + guid_tail
    audio = (np.arange(frames * frame_bytes // 2) % 2000 + 500).astype("<i2").tobytes()
    stated = len(audio) if data_bytes is None else data_bytes
    body = b"WAVE"
    if ds64 is not None:
        body += b"ds64" + struct.pack("<IQQQI", 28, 0, ds64, 0, 0)
    body += before + b"fmt " + struct.pack("<I", len(fmt)) + fmt
    body += b"data" + struct.pack("<I", stated) + audio + after
    return magic + struct.pack("<I", len(body)) + body


def put(path, data):
    path.write_bytes(data)
    return path


# --- what is read ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "subtype"),
    [
        ("a.wav", "PCM_U8"),
        ("a.wav", "PCM_16"),
        ("a.wav", "PCM_24"),
        ("a.wav", "PCM_32"),
        ("a.wav", "FLOAT"),
        ("a.wav", "DOUBLE"),
        ("a.wav", "ULAW"),
        ("a.rf64", "PCM_16"),
        ("a.aiff", "PCM_16"),
        ("a.flac", "PCM_16"),
        ("a.flac", "PCM_24"),
        ("a.ogg", "VORBIS"),
        ("a.mp3", "MPEG_LAYER_III"),
    ],
)
@pytest.mark.parametrize("channels", [1, 2])
def test_samples_are_those_that_the_library_reads_whole(tmp_path, name, subtype, channels):
    path = write(tmp_path / name, noise(2 * RATE_HZ + 17, channels), subtype=subtype)
    samples, audio = read_all(path, seconds=0.37)
    expected = soundfile.read(path, dtype="float32", always_2d=True)[0]
    np.testing.assert_array_equal(samples, expected)
    assert samples.dtype == np.float32
    assert (audio.rate_hz, audio.channels, audio.frames) == (RATE_HZ, channels, 2 * RATE_HZ + 17)
    assert audio.frames_read == len(expected)
    assert audio.subtype == subtype
    assert not audio.notes


@pytest.mark.parametrize("suffix", ["flac", "ogg", "opus", "mp3"])
def test_a_decoder_is_not_started_anew_between_blocks(tmp_path, suffix):
    """A steady sine: where a decoder loses the frame before, its level breaks in."""
    wave = 0.1 * np.sin(2 * np.pi * 997 * np.arange(240_000) / 48_000)
    how = {"format": "OGG", "subtype": "OPUS"} if suffix == "opus" else {}
    path = write(tmp_path / f"a.{suffix}", np.stack([wave, wave], axis=1), 48_000, **how)
    samples, _ = read_all(path, seconds=1.0)
    np.testing.assert_array_equal(samples, soundfile.read(path, dtype="float32")[0])
    levels = np.sqrt((samples[4800:-4800].reshape(-1, 4800, 2).astype(float) ** 2).mean(axis=1))
    np.testing.assert_allclose(levels, 0.1 / np.sqrt(2), rtol=0.01)


@pytest.mark.parametrize("seconds", [1e-9, 0.0101, 0.5, 1.0, 100.0])
def test_any_length_of_blocks_gives_the_same_samples(tmp_path, seconds):
    path = write(tmp_path / "a.wav", noise(500), subtype="PCM_16")
    samples, _ = read_all(path, seconds=seconds)
    np.testing.assert_array_equal(samples, soundfile.read(path, dtype="float32")[0])


def test_blocks_lie_in_one_buffer_that_is_used_again(tmp_path):
    path = write(tmp_path / "a.wav", noise(3000), subtype="FLOAT")
    with open_audio(path) as audio:
        places = {block.__array_interface__["data"][0] for block in audio.blocks(seconds=0.01)}
    assert len(places) == 1


def test_a_pair_is_read_as_left_and_right(tmp_path):
    samples = noise(2000, 8)
    path = write(tmp_path / "a.wav", samples, subtype="FLOAT")
    read, audio = read_all(path, pair=(4, 3))
    np.testing.assert_array_equal(read, samples[:, [3, 2]].astype(np.float32))
    assert (audio.channels, audio.file_channels, audio.weights) == (2, 8, (1.0, 1.0))


def test_a_pair_is_read_from_16_bit_as_well(tmp_path):
    path = write(tmp_path / "a.wav", noise(2000, 3), subtype="PCM_16")
    read, _ = read_all(path, pair=(3, 1))
    np.testing.assert_array_equal(read, soundfile.read(path, dtype="float32")[0][:, [2, 0]])


def test_names_that_are_no_valid_utf_8_are_read(tmp_path):
    name = os.fsdecode(os.fsencode(tmp_path) + b"/k\xff\xe9.wav")
    with open(name, "wb") as file:
        file.write(wav_bytes())
    assert read_all(name)[1].frames_read == 1000


# --- weights and order of channels ----------------------------------------------------------


@pytest.mark.parametrize(
    ("mask", "channels", "weights"),
    [
        (None, 1, (1.0,)),
        (None, 2, (1.0, 1.0)),
        (None, 6, (1.0, 1.0, 1.0, 0.0, 1.41, 1.41)),
        (0, 6, (1.0, 1.0, 1.0, 0.0, 1.41, 1.41)),
        (0x3F, 6, (1.0, 1.0, 1.0, 0.0, 1.41, 1.41)),
        (0x60F, 6, (1.0, 1.0, 1.0, 0.0, 1.41, 1.41)),
        (0x0B, 3, (1.0, 1.0, 0.0)),
        (0x107, 4, (1.0, 1.0, 1.0, 1.0)),
    ],
)
def test_weights_follow_the_channel_mask(tmp_path, mask, channels, weights):
    """ITU-R BS.1770-5, Annex 1 Table 3 and Annex 3 Table 4. SEEN-P."""
    path = put(tmp_path / "a.wav", wav_bytes(channels=channels, mask=mask))
    with open_audio(path) as audio:
        assert audio.weights == weights


def test_a_chosen_pair_has_no_place_in_the_mask(tmp_path):
    path = put(tmp_path / "a.wav", wav_bytes(channels=6, mask=0x3F))
    with open_audio(path, pair=(5, 6)) as audio:
        assert audio.weights == (1.0, 1.0)


@pytest.mark.parametrize(
    ("layout", "tones_hz", "expected_hz"),
    [
        ("3.0", (200, 400, 600), (200, 400, 600)),
        ("5.0", (200, 400, 600, 800, 1000), (200, 400, 600, 800, 1000)),
        ("5.1", (200, 400, 600, 50, 800, 1000), (200, 400, 600, 50, 800, 1000)),
    ],
)
def test_ogg_channels_come_left_right_centre(tmp_path, layout, tones_hz, expected_hz):
    import av

    rate_hz = 48_000
    t = np.arange(2 * rate_hz) / rate_hz
    samples = np.stack([0.2 * np.sin(2 * np.pi * hz * t) for hz in tones_hz], axis=1).astype(np.float32)
    path = tmp_path / "a.opus"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libopus", rate=rate_hz, layout=layout, options={"mapping_family": "1"})
        for start in range(0, len(samples), 960):
            flat = np.ascontiguousarray(samples[start : start + 960]).reshape(1, -1)
            frame = av.AudioFrame.from_ndarray(flat, format="flt", layout=layout)
            frame.sample_rate, frame.pts = rate_hz, start
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    read, _ = read_all(path)
    spectrum = np.abs(np.fft.rfft(read[rate_hz // 2 :][:rate_hz], axis=0))
    assert tuple(spectrum.argmax(axis=0)) == expected_hz


# --- headers that lie about the length ------------------------------------------------------


def test_a_file_cut_short_is_read_as_far_as_it_goes(tmp_path):
    path = put(tmp_path / "a.wav", wav_bytes(frames=RATE_HZ)[: -RATE_HZ * 2])
    _, audio = read_all(path)
    assert audio.frames_read == RATE_HZ // 2
    assert audio.promised_frames == RATE_HZ
    assert audio.lost_frames == RATE_HZ - RATE_HZ // 2
    assert audio.notes == ["the header promises 44100 frames (0:01.0), 22050 came (0:00.5)"]


@pytest.mark.parametrize("suffix", ["aiff", "flac", "mp3"])
def test_other_formats_cut_short_say_so_too(tmp_path, suffix):
    path = write(tmp_path / f"a.{suffix}", noise(4 * RATE_HZ))
    put(path, path.read_bytes()[: path.stat().st_size // 2])
    _, audio = read_all(path)
    assert 1.5 * RATE_HZ < audio.frames_read < 2.5 * RATE_HZ
    assert audio.promised_frames == 4 * RATE_HZ
    assert audio.lost_frames == 4 * RATE_HZ - audio.frames_read
    assert f"the header promises 176400 frames (0:04.0), {audio.frames_read} came" in audio.notes[-1]


def test_what_was_decoded_before_the_damage_is_kept(tmp_path):
    samples = noise(4 * RATE_HZ)
    path = write(tmp_path / "a.flac", samples, subtype="PCM_16")
    expected = soundfile.read(path, dtype="float32")[0]
    data = bytearray(path.read_bytes())
    data[len(data) // 2 : len(data) // 2 + 60] = bytes(60)
    put(path, data)
    read, audio = read_all(path)
    assert len(read) > 1.5 * RATE_HZ
    np.testing.assert_array_equal(read[: len(read) - 8192], expected[: len(read) - 8192])
    assert audio.notes[0].startswith("decoding broke off at 0:0")
    assert "what follows was not read" in audio.notes[0]


def test_a_recording_that_was_killed_before_its_header_was_written_is_read(tmp_path):
    path = put(tmp_path / "a.wav", wav_bytes(frames=RATE_HZ, data_bytes=0))
    read, audio = read_all(path)
    assert audio.notes == ["the header promises 0 frames (0:00.0), 44100 came (0:01.0)"]
    assert audio.lost_frames == 0
    whole, _ = read_all(put(tmp_path / "b.wav", wav_bytes(frames=RATE_HZ)))
    np.testing.assert_array_equal(read, whole)


def test_a_count_that_is_too_small_hides_nothing(tmp_path):
    path = put(tmp_path / "a.wav", wav_bytes(frames=RATE_HZ, data_bytes=400))
    _, audio = read_all(path)
    assert audio.notes == ["the header promises 100 frames (0:00.0), 44100 came (0:01.0)"]
    assert audio.format == "WAV"


def test_an_ogg_file_whose_first_page_trims_the_start_has_lost_nothing(music):
    """The library's count of such a file is 104 frames too high; the last page counts what there is."""
    (path,) = (path for path in music if path.name == "hr-savino-ocean.ogg")
    data = path.read_bytes()
    (last_count,) = struct.unpack_from("<q", data, data.rindex(b"OggS") + 6)
    with open_audio(path) as audio:
        assert audio.promised_frames == last_count + 104
        assert sum(len(block) for block in audio.blocks()) == last_count
        assert (audio.lost_frames, audio.gaps, audio.notes) == (0, (), [])


@pytest.mark.parametrize(
    "tail",
    [
        b"LIST" + struct.pack("<I", 40_000) + bytes(40_000),  # a chunk
        b"TAG" + bytes(125),
        b"APETAGEX" + bytes(range(256)) * 400,
        bytes(100_000),  # padding
        b"\x01\x02",
    ],
    ids=["chunk", "short tag", "long tag", "padding", "two bytes"],
)
def test_what_is_no_audio_behind_the_audio_is_not_read_as_audio(tmp_path, tail):
    path = put(tmp_path / "a.wav", wav_bytes(frames=1000, after=tail))
    _, audio = read_all(path)
    assert audio.frames_read == 1000
    assert not audio.notes


@pytest.mark.parametrize("magic", [b"RIFF", b"RF64"])
def test_a_length_left_open_is_no_lie(tmp_path, magic):
    path = put(tmp_path / "a.wav", wav_bytes(data_bytes=0xFFFF_FFFF, magic=magic))
    if magic == b"RF64":
        put(path, wav_bytes(data_bytes=0xFFFF_FFFF, magic=magic, ds64=4000))
    _, audio = read_all(path)
    assert audio.frames_read == 1000
    assert not audio.notes


def test_the_newer_name_of_rf64_is_read(tmp_path):
    path = put(tmp_path / "a.wav", wav_bytes(data_bytes=0xFFFF_FFFF, magic=b"BW64", ds64=4000))
    read, audio = read_all(path)
    whole, _ = read_all(put(tmp_path / "b.wav", wav_bytes()))
    np.testing.assert_array_equal(read, whole)
    assert not audio.notes


def test_a_riff_beyond_four_gigabytes_is_read_to_its_end(tmp_path):
    frames = RIFF_LIMIT_BYTES // 4 + 250
    path = put(tmp_path / "a.wav", wav_bytes(frames=0, data_bytes=1000))  # the count has wrapped
    head_bytes = path.stat().st_size
    os.truncate(path, head_bytes + 4 * frames)  # a hole, so it takes no room
    with path.open("rb") as file:
        header = read_wav_header(file)
    assert header.audio_bytes == 4 * frames
    with open_audio(path) as audio:
        assert audio.frames == frames
        assert audio.promised_frames == 250


def test_an_mp3_without_a_count_promises_nothing(tmp_path):
    path = write(tmp_path / "a.mp3", noise(2 * RATE_HZ))
    data = path.read_bytes()
    assert b"Info" in data[:600] or b"Xing" in data[:600]
    put(path, data.replace(b"Info", bytes(4), 1).replace(b"Xing", bytes(4), 1))
    with open_audio(path) as audio:
        assert audio.promised_frames is None
        assert audio.frames is None
        assert sum(map(len, audio.blocks())) > RATE_HZ
        assert audio.lost_frames == 0


def test_the_count_of_an_mp3_is_found_behind_a_picture(tmp_path):
    path = write(tmp_path / "a.mp3", noise(2 * RATE_HZ))
    tag = b"ID3\x04\x00\x00" + bytes([0, 1, 0x20, 0]) + bytes(0x20 * 128 + 128 * 128)
    put(path, tag + path.read_bytes())
    with open_audio(path) as audio:
        assert audio.promised_frames == 2 * RATE_HZ


# --- one clear sentence ---------------------------------------------------------------------

SENTENCES = {
    "empty.wav": (b"", "this file is empty (0 bytes)"),
    "text.wav": (
        b"these are only words\n" * 20,
        "no audio file that can be read here, whatever its name says",
    ),
    "text.mp3": (
        b"these are only words\n" * 20,
        "no audio file that can be read here, whatever its name says",
    ),
    "text.raw": (
        b"these are only words\n" * 20,
        "no audio file that can be read here, whatever its name says",
    ),
    "zeros.wav": (bytes(5000), "no audio file that can be read here, whatever its name says"),
    "film.m4a": (
        b"\0\0\0\x20ftypM4A " + bytes(500),
        "this MP4 file has no index that can be read: it is damaged, or was cut short",
    ),
    "head.wav": (wav_bytes()[:20], "breaks off before any audio: its header is cut short or damaged"),
    "ten.wav": (wav_bytes()[:10], "breaks off inside the first 12 bytes of its header"),
    "nodata.wav": (wav_bytes()[:36], "breaks off before any audio"),
    "nofmt.wav": (b"RIFF\0\0\0\0WAVEdata\4\0\0\0abcd", "before the header says what kind of audio it is"),
    "short.wav": (
        b"RIFF\0\0\0\0WAVEfmt \4\0\0\0abcddata\4\0\0\0abcd",
        "a header that is cut short or damaged",
    ),
    "none.wav": (wav_bytes(frames=0), "not one frame of audio follows it"),
    "nobody.wav": (
        wav_bytes(channels=2).replace(b"\x01\0\x02\0", b"\x01\0\0\0", 1),
        "the header says 0 channels",
    ),
    "seven.wav": (
        wav_bytes(channels=7),
        "7 channels, at most 6 are measured together; choose a pair, as in `leadline check FILE --ch",
    ),
    "slow.wav": (wav_bytes(rate_hz=7999), "the sample rate is 7999 Hz; expected 8000 to 384000 Hz"),
    "fast.wav": (wav_bytes(rate_hz=384_001), "the sample rate is 384001 Hz; expected 8000 to 384000 Hz"),
    "still.wav": (wav_bytes(rate_hz=0), "the sample rate is 0 Hz"),
    "head.flac": (
        b"fLaC\0\0\0\x22" + bytes(12),
        "its header is cut short, damaged or of a kind that is not read",
    ),
    "head.ogg": (b"OggS" + bytes(30), "this Ogg file is cut short or damaged"),
    "head.aiff": (
        b"FORM\0\0\0\x20AIFFCOMM",
        "its header is cut short, damaged or of a kind that is not read",
    ),
    "loop.wav": (b"RIFF\0\0\0\0WAVE" + b"junk\0\0\0\0" * 20_000, "breaks off before any audio"),
}


@pytest.mark.parametrize("name", SENTENCES)
def test_a_bad_file_gets_one_clear_sentence(tmp_path, name, capfd):
    data, words = SENTENCES[name]
    path = put(tmp_path / name, data)
    with pytest.raises(AudioFileError) as caught:
        read_all(path)
    said = str(caught.value)
    assert said.startswith(f"{path}: ")
    assert words in said
    assert "\n" not in said
    assert capfd.readouterr() == ("", ""), "the decoder's own words reach the user"


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(AudioFileError, match="there is no such file"):
        open_audio(tmp_path / "no.wav")


def test_a_folder(tmp_path):
    with pytest.raises(AudioFileError, match="this is a folder; name the audio files in it"):
        open_audio(tmp_path)


def test_what_is_no_ordinary_file():
    with pytest.raises(AudioFileError, match="this is no ordinary file"):
        open_audio(os.devnull)


def test_a_name_that_no_file_can_have():
    with pytest.raises(AudioFileError, match="this file cannot be opened"):
        open_audio("a\0b.wav")


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    path = put(tmp_path / "a.wav", wav_bytes())

    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", refuse)  # the tests may run as one who may read all
    with pytest.raises(AudioFileError, match="you are not allowed to read this file"):
        open_audio(path)


@pytest.mark.parametrize("pair", [(3, 4), (1, 3), (2, 9)])
def test_a_pair_that_the_file_does_not_have(tmp_path, pair):
    path = put(tmp_path / "a.wav", wav_bytes())
    with pytest.raises(
        AudioFileError, match=f"--channels {pair[0]},{pair[1]} was asked for, but the file has 2"
    ):
        open_audio(path, pair=pair)


def test_a_file_that_was_refused_is_closed_again(tmp_path):
    before = set(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else set()
    for name, (data, _) in SENTENCES.items():
        with pytest.raises(AudioFileError):
            read_all(put(tmp_path / name, data))
    after = set(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else set()
    assert after == before


def test_the_decoder_is_quiet_only_while_it_is_asked_to(capfd):
    with decoder_keeps_quiet(True):
        os.write(2, b"Note: illegal header\n")
    os.write(2, b"heard\n")
    with decoder_keeps_quiet(False):
        os.write(2, b"heard too\n")
    assert capfd.readouterr().err == "heard\nheard too\n"


@pytest.mark.parametrize("cut", range(12, 46))
def test_a_wav_cut_anywhere_in_its_header_is_refused_or_empty(cut):
    data = wav_bytes()[:cut]
    try:
        header = read_wav_header(io.BytesIO(data))
    except HeaderError:
        return
    assert cut >= 44
    assert header.audio_bytes == max(cut - 44, 0)


# --- reading ahead --------------------------------------------------------------------------


def test_reading_ahead_gives_the_same_blocks_each_in_its_own_memory():
    buffer = np.zeros((4, 2), np.float32)

    def blocks():
        for number in range(50):
            buffer[:] = number
            yield buffer[: 4 - number % 2]

    read = list(read_ahead(blocks()))
    assert [len(block) for block in read] == [4 - number % 2 for number in range(50)]
    assert all((block == number).all() for number, block in enumerate(read))


def test_reading_ahead_hands_an_error_on_after_the_blocks_before_it():
    def blocks():
        yield np.zeros((1, 1), np.float32)
        raise AudioFileError("the stick was pulled out; put it in again")

    read = read_ahead(blocks())
    assert len(next(read)) == 1
    with pytest.raises(AudioFileError, match="the stick was pulled out"):
        next(read)


def test_reading_ahead_ends_its_thread_when_nobody_wants_more():
    taken = []

    def blocks():
        for number in range(1000):
            taken.append(number)
            yield np.zeros((1, 1), np.float32)

    read = read_ahead(blocks(), depth_blocks=2)
    next(read)
    read.close()
    assert len(taken) < 10
    assert not [thread for thread in threading.enumerate() if thread.name == "read ahead"]
