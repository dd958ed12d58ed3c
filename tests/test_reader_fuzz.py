"""Damaged files of every kind: each is measured or refused in one sentence; nothing else ever happens.

Two hundred in the suite, two thousand with ``--long``. A hang would be ended by the limit of pytest.
"""

import numpy as np
import pytest
import soundfile

from meter.check import Checked, Failed, Options
from meter.check_run import check_all
from tests.support.encode import encode, encode_video

RATE_HZ = 48_000

pytestmark = [
    pytest.mark.usefixtures("forked"),
    pytest.mark.filterwarnings("ignore:.*multi-threaded, use of fork:DeprecationWarning"),
]
FRAMES = RATE_HZ // 4


def originals(folder):
    """A quarter of a second in every kind, by both libraries."""
    samples = 0.1 * np.random.default_rng(1).standard_normal((FRAMES, 2))
    files = []
    for name, how in (
        ("a.wav", {"subtype": "PCM_16"}), ("b.wav", {"subtype": "FLOAT", "format": "WAVEX"}),
        ("c.aiff", {}), ("d.flac", {}), ("e.ogg", {}), ("f.mp3", {}), ("g.w64", {"subtype": "PCM_24"}),
        ("h.rf64", {"subtype": "PCM_16"}), ("i.opus", {"format": "OGG", "subtype": "OPUS"}),
    ):  # fmt: skip
        soundfile.write(folder / name, samples, RATE_HZ, **how)
        files.append(folder / name)
    for name, codec, container in (
        ("j.m4a", "aac", "ipod"), ("k.m4a", "alac", "ipod"), ("l.mkv", "aac", "matroska"),
        ("m.webm", "libopus", "webm"), ("n.wma", "wmav2", "asf"), ("o.aac", "aac", "adts"),
        ("p.ts", "aac", "mpegts"), ("q.avi", "ac3", "avi"), ("r.caf", "alac", "caf"),
    ):  # fmt: skip
        files.append(encode(folder / name, samples, codec=codec, container=container))
    files.append(encode_video(folder / "s.mp4", samples, container="mp4"))
    return files


def mutated(data, random):
    """Bytes changed, cut out, repeated, or the end cut off."""
    data = bytearray(data)
    kind = random.integers(5)
    for _ in range(random.integers(1, 12)):
        # Half of the damage at the beginning, where the headers are.
        reach = len(data) if random.random() < 0.5 else min(len(data), 400)
        at = int(random.integers(reach))
        if kind == 0:
            data[at] = int(random.integers(256))
        elif kind == 1:
            data[at : at + 4] = bytes(random.choice([0, 0xFF, 0x7F, 0x80], 4).astype(np.uint8))
        elif kind == 2:
            del data[at : at + int(random.integers(1, 300))]
        elif kind == 3:
            data[at:at] = data[at : at + int(random.integers(1, 300))]
        else:
            del data[max(at, 1) :]
            break
        if len(data) < 2:
            break
    return bytes(data)


def hold_together(tmp_path, count, seed):
    random = np.random.default_rng(seed)
    sources = originals(tmp_path)
    names = []
    for number in range(count):
        source = sources[number % len(sources)]
        path = tmp_path / f"{number}{source.suffix}"
        path.write_bytes(mutated(source.read_bytes(), random))
        names.append(str(path))
    results = list(check_all(names, Options(), workers=2))
    assert [result.name for result in results] == names
    for result in results:
        if isinstance(result, Failed):
            assert result.message.startswith(f"{result.name}: "), result.message
            assert "\n" not in result.message
            assert "please report" not in result.message, result.message
            assert "crashed" not in result.message, result.message
        else:
            assert all("\n" not in note for note in result.notes)
            assert result.summary.seconds < 300.0
    return [sum(isinstance(result, kind) for result in results) for kind in (Checked, Failed)]


def test_two_hundred_damaged_files_are_measured_or_refused_in_a_sentence(tmp_path, capfd):
    read, refused = hold_together(tmp_path, 200, seed=11)
    assert min(read, refused) > 20  # both happen, or it would try nothing
    assert capfd.readouterr() == ("", ""), "the decoder's own words reach the user"


@pytest.mark.long
def test_two_thousand_damaged_files_are_measured_or_refused_in_a_sentence(tmp_path, capfd):
    read, refused = hold_together(tmp_path, 2000, seed=12)
    assert min(read, refused) > 200
    assert capfd.readouterr() == ("", ""), "the decoder's own words reach the user"
