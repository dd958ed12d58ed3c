"""The series worked out from soundings, held to the readings of the chain that made them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.chain import Chain
from meter.slot_values import KEYS, SlotValues, of_reading
from meter.units import db_to_amplitude
from tests.support.sound import noise, run, run_to_end, silence, tone

WINDOWS = KEYS.index("true_peak_dbtp")


def rounding_lu(rate_hz):
    """How far apart they may be: float32, and where 10 ms are no whole frames the cells are unequal."""
    return 4e-6 if rate_hz % 100 == 0 else 2e-3


def compared(chain, samples):
    """Values of each sounding from its row, and from the reading at its end."""
    values, found, expected = SlotValues(chain.weights), [], []
    for k in range(len(samples) * 10 // chain.rate_hz):
        first, last = (chain.grid.cell_edge(10 * (k + at)) for at in (0, 1))
        rows = chain.process(samples[first:last])
        found += list(values.take(rows)[:, :WINDOWS])
        expected.append(of_reading(chain.reading()))
    return np.array(found), np.array(expected)


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 44_100, 48_000, 96_000])
def test_from_the_soundings_come_the_numbers_of_the_reading(rate_hz):
    samples = noise(9.0, seed=1, rate_hz=rate_hz)
    samples[: 3 * rate_hz] *= db_to_amplitude(-35.0)
    found, expected = compared(Chain(rate_hz=rate_hz, channels=2), samples)
    np.testing.assert_array_equal(np.isnan(found), np.isnan(expected))
    np.testing.assert_allclose(found, expected, atol=rounding_lu(rate_hz), rtol=0)


@pytest.mark.parametrize(
    ("what", "samples"),
    [
        ("one channel", noise(4.0, seed=2, channels=1)),
        ("six channels", noise(4.0, seed=3, channels=6)),
        ("silence", silence(4.0)),
        ("one side only", tone(50.0, 4.0, gains=(1.0, 0.0))),
        ("opposite sides", tone(50.0, 4.0, gains=(1.0, -1.0))),
        ("no low end", tone(5000.0, 4.0)),
        ("a low end that goes away", np.concatenate([tone(50.0, 4.0), noise(5.0, seed=4, level_dbfs=-55.0)])),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_where_the_reading_says_nothing_there_is_nothing_and_silence_stays_silence(what, samples):
    found, expected = compared(Chain(rate_hz=48_000, channels=samples.shape[1]), samples)
    np.testing.assert_array_equal(np.isnan(found), np.isnan(expected))
    np.testing.assert_array_equal(np.isneginf(found), np.isneginf(expected))
    np.testing.assert_allclose(found, expected, atol=4e-6, rtol=0)


@settings(max_examples=30)
@given(cuts=st.lists(st.integers(0, 61), max_size=8))
def test_rows_one_by_one_or_many_at_once_give_the_same(cuts):
    chain = Chain(rate_hz=8000, channels=2)
    samples = noise(6.13, seed=5, rate_hz=8000)
    samples[16_000:30_000, 1] *= -0.3
    rows = run_to_end(chain, samples)
    whole = SlotValues(chain.weights).take(rows)
    values = SlotValues(chain.weights)
    parts = [values.take(part) for part in np.split(rows, sorted(cuts)) if len(part)]
    np.testing.assert_allclose(np.concatenate(parts), whole, rtol=1e-6, atol=1e-6)


def test_a_row_that_was_cut_short_keeps_its_own_peak_and_the_windows_before_it():
    chain = Chain(rate_hz=48_000, channels=2)
    samples = noise(4.05, seed=6)
    samples[-100:] = 0.9
    found = SlotValues(chain.weights).take(run_to_end(chain, samples))
    assert len(found) == 41
    np.testing.assert_array_equal(found[40, :WINDOWS], found[39, :WINDOWS])
    assert found[40, KEYS.index("true_peak_dbtp")] > found[39, KEYS.index("true_peak_dbtp")]


def test_peaks_and_overs_are_those_of_the_row():
    chain = Chain(rate_hz=48_000, channels=2)
    samples = noise(1.0, seed=7)
    samples[24_000:24_010, 1] = 1.3
    rows = run(chain, samples)
    found = SlotValues(chain.weights).take(rows)
    peaks = 20.0 * np.log10(rows["true_peak"][:, :2].max(axis=1))
    np.testing.assert_allclose(found[:, KEYS.index("true_peak_dbtp")], peaks, atol=1e-5)
    assert list(found[:, KEYS.index("overs")]) == [0, 0, 0, 0, 0, 1, 0, 0, 0, 0]


def test_after_a_mark_a_quiet_low_end_is_no_longer_held_against_the_loud_one_before():
    chain = Chain(rate_hz=48_000, channels=2)
    rows = run(chain, np.concatenate([tone(50.0, 4.0), tone(50.0, 8.0, level_dbfs=-50.0)]))
    fold = KEYS.index("fold_20-60")
    without, with_mark = SlotValues(chain.weights), SlotValues(chain.weights)
    assert np.isnan(without.take(rows)[-1, fold])
    with_mark.take(rows[:80])
    with_mark.mark()
    assert with_mark.take(rows[80:])[-1, fold] == 0.0
