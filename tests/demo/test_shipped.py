"""The shipped excerpts: small, whole, the same as the code makes, and with what they promise in them."""

import numpy as np
import pyloudnorm
import pytest
import soundfile
from scipy import signal

import demo_signals
from demo_signals import shipped
from demo_signals.faults import OVERS, WIDE_SUB
from demo_signals.pattern import bar_to_s
from tests.demo import readings

PAIRS = list(zip(shipped.EXCERPTS, demo_signals.excerpts(), strict=True))


def file_of(file_name):
    return soundfile.read(next(path for path in demo_signals.excerpts() if path.name == file_name))[0]


def test_three_excerpts_are_shipped_in_no_more_than_3_mb():
    assert len(PAIRS) == 3
    assert sum(path.stat().st_size for _, path in PAIRS) <= 3_000_000


@pytest.mark.parametrize(("excerpt", "path"), PAIRS, ids=lambda x: getattr(x, "file_name", ""))
def test_the_code_makes_the_shipped_file_again(excerpt, path):
    """Within one step of 16 bit: another machine may round the last bit otherwise."""
    found, rate_hz = soundfile.read(path, dtype="int16")
    assert rate_hz == demo_signals.RATE_HZ
    made = shipped.excerpt_samples(excerpt)
    assert found.shape == made.shape
    assert np.abs(found.astype(int) - made).max() <= 1


@pytest.mark.parametrize(("excerpt", "path"), PAIRS, ids=lambda x: getattr(x, "file_name", ""))
def test_an_excerpt_lasts_whole_100_ms_between_6_and_15_s(excerpt, path):
    info = soundfile.info(path)
    assert info.frames % 4800 == 0
    assert 6.0 < info.duration < 15.0
    assert (info.format, info.subtype) == ("FLAC", "PCM_16")


def test_the_clean_excerpt_has_nothing_wrong():
    samples = file_of("clean-drop.flac")
    meter = pyloudnorm.Meter(demo_signals.RATE_HZ, filter_class="DeMan")
    assert -8.0 < meter.integrated_loudness(samples) < -7.0
    assert readings.fold_loss_db(readings.below_120_hz(samples)) > -0.1
    assert readings.db(readings.true_peaks(samples).max() ** 2) < -0.3


def test_the_wide_excerpt_loses_its_sub_in_mono():
    low = readings.below_120_hz(file_of("wide-sub.flac"))
    assert readings.fold_loss_db(low) == pytest.approx(WIDE_SUB.expected, abs=WIDE_SUB.tolerance)


def test_sixteen_bits_hold_the_overs():
    samples = file_of("overs.flac")
    assert np.abs(samples).max() < 0.95
    (excerpt,) = (each for each in shipped.EXCERPTS if each.file_name == "overs.flac")
    begin_s = bar_to_s(excerpt.start_bar)
    places = [at_s - begin_s for at_s in OVERS.at_s if at_s > begin_s]
    assert len(places) == 5
    for at_s in places:
        near = signal.resample_poly(readings.cut(samples, at_s - 0.05, at_s + 0.05), 32, 1, axis=0)
        assert readings.db(np.abs(near).max() ** 2) == pytest.approx(OVERS.expected, abs=OVERS.tolerance)


def test_an_excerpt_begins_and_ends_in_silence():
    for _, path in PAIRS:
        samples = soundfile.read(path)[0]
        assert np.abs(samples[[0, -1]]).max() == 0.0
