"""Encoders: nothing is moved, peaks are those of an independent decoder, and a trim keeps its promise."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
import soundfile

from meter.delivery import encoded as module
from meter.delivery import trim as trim_module
from meter.delivery.align import aligned
from meter.delivery.codecs import CODECS, EncodeError, available, decoded, encoded, rate_for, wishes_from
from meter.delivery.encoded import encode_check
from meter.delivery.resample import resampled
from meter.dsp.true_peak import true_peaks
from meter.errors import UsageError

RATE_HZ = 48_000
WISHES = [wishes_from(text)[0] for text in ("aac:256", "mp3:320", "opus:128")]
TITLES = [wish.title for wish in WISHES]


def loud(seconds: float, seed: int, *, clip: float = 0.89, rate_hz: int = RATE_HZ) -> np.ndarray:
    """A hard-limited bass and noise, as a loud master has them."""
    rng = np.random.default_rng(seed)
    at_s = np.arange(round(seconds * rate_hz)) / rate_hz
    bass = np.sin(2 * np.pi * (40 + seed % 20) * at_s) + 0.4 * np.sin(2 * np.pi * 660 * at_s)
    swell = 0.15 + 0.5 * (np.sin(2 * np.pi * 2.9 * at_s) > 0.8)
    noise = rng.standard_normal((len(at_s), 2)) * swell[:, None]
    return np.clip(1.4 * (bass[:, None] + noise), -clip, clip).astype(np.float32)


def through(frames: np.ndarray, wish, rate_hz: int = RATE_HZ) -> np.ndarray:
    return np.concatenate(list(aligned(decoded(encoded(frames, rate_hz, wish)), frames)))


@pytest.mark.parametrize("wish", WISHES, ids=TITLES)
@pytest.mark.parametrize("kind", ["noise", "impulses"])
def test_what_comes_back_lies_where_it_was(wish, kind):
    rng = np.random.default_rng(3)
    frames = 0.1 * rng.standard_normal((4 * RATE_HZ, 2))
    if kind == "impulses":
        frames = 1e-4 * frames
        frames[RATE_HZ // 2 :: 7919] = 0.9
    frames = frames.astype(np.float32)
    back = through(frames, wish)
    assert back.shape == frames.shape
    size = 1 << 19
    product = np.fft.rfft(back[:, 0], size) * np.fft.rfft(frames[:, 0], size).conj()
    assert int(np.argmax(np.fft.irfft(product, size))) == 0
    assert np.corrcoef(back[:, 0], frames[:, 0])[0, 1] > 0.6  # Opus keeps of noise how it sounds


def test_a_delay_that_the_container_does_not_tell_is_found():
    frames = loud(3.0, 1)
    late = np.concatenate([np.zeros((1024, 2), np.float32), frames, np.zeros((500, 2), np.float32)])
    back = np.concatenate(list(aligned(np.array_split(late, 37), frames)))
    assert back.tobytes() == frames.tobytes()
    early = np.concatenate(list(aligned(np.array_split(frames[700:], 37), frames)))
    assert early.tobytes() == frames[700:].tobytes()


@pytest.mark.parametrize("wish", [w for w in WISHES if w.codec.key != "aac"], ids=["MP3", "Opus"])
@pytest.mark.parametrize("seed", [1])
def test_the_true_peak_is_that_of_an_independent_decoder(wish, seed):
    """Libsndfile decodes MP3 (mpg123) and Opus (libopus) on its own."""
    frames = loud(5.0, seed)
    data = encoded(frames, RATE_HZ, wish)
    theirs, rate_hz = soundfile.read(io.BytesIO(data), dtype="float32", always_2d=True)
    wanted_db = 20.0 * math.log10(true_peaks(theirs, rate_hz=rate_hz).max())
    found = encode_check(frames, RATE_HZ, wish, finds_trim=False)
    assert found.true_peak_dbtp == pytest.approx(wanted_db, abs=0.05)
    assert found.over_count > 0
    assert all(over.peak_dbtp > 0.0 for over in found.overs)
    assert max(over.peak_dbtp for over in found.overs) == pytest.approx(found.true_peak_dbtp, abs=1e-6)


def test_what_keeps_under_the_ceiling_needs_no_trim():
    found = encode_check(loud(2.0, 1, clip=0.2), RATE_HZ, WISHES[1])
    assert (found.over_count, found.trim_db) == (0, 0.0)
    assert abs(found.integrated_change_lu) < 0.5  # the top of the noise goes


def trimmed_peak_db(frames: np.ndarray, wish, trim_db: float) -> float:
    lower = (frames * 10.0 ** (-trim_db / 20.0)).astype(np.float32)
    return 20.0 * math.log10(true_peaks(through(lower, wish), rate_hz=RATE_HZ).max())


@pytest.mark.parametrize("seed", [4])
def test_after_the_trim_it_stays_under_the_ceiling(seed):
    _keeps_its_promise(loud(2.0, seed), WISHES[2])


@pytest.mark.long
@pytest.mark.parametrize("wish", WISHES, ids=TITLES)
@pytest.mark.parametrize("seed", range(7))
def test_after_the_trim_twenty_one_loud_cases_stay_under_the_ceiling(wish, seed):
    _keeps_its_promise(loud(6.0, 10 + seed), wish)


def _keeps_its_promise(frames: np.ndarray, wish) -> None:
    found = encode_check(frames, RATE_HZ, wish)
    assert found.trim_db is not None
    assert found.trim_db > 0.0
    more = [trimmed_peak_db(frames, wish, found.trim_db + 0.1 * step) for step in range(6)]
    assert max(more) <= 0.0
    # It is no larger than it must be: somewhere in the half decibel under it the ceiling is passed.
    lower = [trimmed_peak_db(frames, wish, found.trim_db - 0.1 * step) for step in (1, 2, 3, 4, 5, 6)]
    assert max(lower) > -0.05


def test_a_gain_before_the_encoder_is_about_the_same_after_it():
    frames = loud(4.0, 6)
    plain = encode_check(frames, RATE_HZ, WISHES[1], finds_trim=False)
    lower = encode_check(0.5 * frames, RATE_HZ, WISHES[1], finds_trim=False)
    assert plain.true_peak_dbtp - lower.true_peak_dbtp == pytest.approx(6.02, abs=0.5)


@pytest.mark.parametrize(
    ("rate_hz", "wish", "to_hz"), [(96_000, "mp3:320", 48_000), (44_100, "opus:128", 48_000)]
)
def test_another_rate_is_converted_where_the_encoder_needs_it(rate_hz, wish, to_hz):
    wish = wishes_from(wish)[0]
    found = encode_check(loud(3.0, 2, clip=0.5, rate_hz=rate_hz), rate_hz, wish, finds_trim=False)
    assert found.rate_hz == to_hz == rate_for(wish.codec, rate_hz)
    assert abs(found.integrated_change_lu) < 1.0  # what lies over 24 kHz is not there any more


def test_a_converted_tone_keeps_its_level():
    at_s = np.arange(44_100) / 44_100
    tone = (0.5 * np.sin(2 * np.pi * 997.0 * at_s))[:, None].astype(np.float32)
    made = resampled(tone, 44_100, 48_000)
    assert len(made) == 48_000
    assert np.sqrt(2.0 * np.mean(made[2000:-2000] ** 2)) == pytest.approx(0.5, rel=1e-3)


def test_mono_goes_through():
    found = encode_check(loud(3.0, 3)[:, :1], RATE_HZ, WISHES[0], finds_trim=False)
    assert math.isfinite(found.true_peak_dbtp)


@pytest.mark.parametrize(
    ("frames", "said"),
    [
        (np.zeros((RATE_HZ, 6), np.float32), "there are 6 channels"),
        (np.zeros((100, 2), np.float32), "it is 0.00 s long"),
        (np.full((RATE_HZ, 2), np.nan, np.float32), "samples that are no numbers"),
    ],
)
def test_what_cannot_be_encoded_is_one_sentence(frames, said):
    with pytest.raises(EncodeError, match=said):
        encode_check(frames, RATE_HZ, WISHES[0])


def test_a_tenth_of_a_second_and_silence_are_no_trouble():
    assert encode_check(loud(0.1, 1, clip=0.3), RATE_HZ, WISHES[0]).over_count == 0
    silent = encode_check(np.zeros((RATE_HZ, 2), np.float32), RATE_HZ, WISHES[1])
    assert silent.integrated_change_lu is None
    assert silent.over_count == 0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("flac:100", "expected an encoder and kb/s, such as aac:256"),
        ("aac", "expected an encoder and kb/s"),
        ("mp3:9", "MP3 takes 64 to 320 kb/s"),
        ("aac:256,,", "expected an encoder"),
    ],
)
def test_wishes_that_cannot_be_meant_are_one_sentence(text, said):
    with pytest.raises(UsageError, match=said):
        wishes_from(text)


def test_an_encoder_that_is_missing_is_named_with_those_that_are_there(monkeypatch):
    monkeypatch.setattr("meter.delivery.codecs.available", lambda: ("aac", "mp3"))
    with pytest.raises(UsageError, match="no encoder for Opus in this installation; there are aac, mp3"):
        wishes_from("opus:128")


def test_every_encoder_that_this_build_has_is_known():
    assert {"aac", "mp3", "opus"} <= set(available()) <= set(CODECS)


def test_the_search_encodes_only_around_the_overs(monkeypatch):
    """Of twelve seconds, loud for one: all is encoded once, and once more with the trim that holds there."""
    frames = loud(12.0, 5, clip=0.3)
    frames[8 * RATE_HZ : 9 * RATE_HZ] = loud(1.0, 5)
    lengths: list[int] = []

    def counted(part, *arguments, **named):
        lengths.append(len(part))
        return encoded(part, *arguments, **named)

    monkeypatch.setattr(module, "encoded", counted)
    monkeypatch.setattr(trim_module, "encoded", counted)
    assert encode_check(frames, RATE_HZ, WISHES[2]).trim_db > 0.0
    whole = [length for length in lengths if length == len(frames)]
    assert 2 <= len(whole) <= 4
    assert sum(length < 2 * RATE_HZ for length in lengths) == len(lengths) - len(whole) > 5


def test_a_gain_is_brought_to_what_is_encoded():
    frames = loud(1.0, 2)
    lower = (frames * np.float32(0.5)).astype(np.float32)
    parts = [np.concatenate(list(decoded(one))) for one in (
        encoded(frames, RATE_HZ, WISHES[1], gain=0.5), encoded(lower, RATE_HZ, WISHES[1])
    )]  # fmt: skip
    np.testing.assert_array_equal(*parts)


def test_how_far_it_has_come_never_goes_back():
    told: list[tuple[str, float]] = []
    encode_check(loud(3.0, 4), RATE_HZ, WISHES[2], tell=lambda *what: told.append(what))
    shares = [share for _, share in told]
    assert shares == sorted(shares)
    assert 0.0 <= shares[0] <= shares[-1] <= 1.0
    assert told[0][0] == "Opus 128 kb/s"
    assert "dB lower" in told[-1][0]


def test_what_is_raised_while_it_is_told_ends_the_work():
    class Enough(Exception):
        pass

    def tell(words, share):
        if share > 0.2:
            raise Enough

    for wish in WISHES:
        with pytest.raises(Enough):
            encode_check(loud(6.0, 4), RATE_HZ, wish, tell=tell)
