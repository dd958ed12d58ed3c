"""The ideal value of every row, worked out a second way: no code of the chain is used here.

`Reference` is BS.1770-5 in a few lines (scipy's lfilter with the printed coefficients, powers
from running sums, true peak from a 32-fold Fourier resampling). It offers what a `Measured` has
to offer, so the rows' own ways of reading are exercised too.
"""

import math
from functools import cached_property
from types import MappingProxyType, SimpleNamespace

import numpy as np
import pytest
from scipy.signal import lfilter, resample

from meter.standards import bs1770, ebu_tech_3341_v4_2023, ebu_tech_3342_v4_2023, itu_r_bs2217_2_2016
from meter.standards.cases import Glance
from meter.standards.signals import gated_lufs_of_steps
from meter.units import power_to_lufs, powers_to_lufs

CASES = (*ebu_tech_3341_v4_2023.CASES, *ebu_tech_3342_v4_2023.CASES, *itu_r_bs2217_2_2016.CASES)
WITH_AN_IDEAL = [case for case in CASES if case.ideal is not None and case.rate_hz == 48_000]
AT_OTHER_RATES = [case for case in CASES if case.unit == "dBTP" and case.rate_hz != 48_000]


GATED_AND_NOT = ("3341-1 I", "3341-3", "3341-5", "2217 relative gate", "2217 tone 25 Hz at -24")


class Reference:
    """A second meter, as plain as it can be: whole arrays, a 10 ms grid, the printed filter."""

    def __init__(self, signal):
        self.signal = signal
        self.rate_hz = signal.rate_hz
        self.weights = signal.weights or bs1770.default_weights(signal.samples.shape[1])

    @cached_property
    def grid(self):
        """Weighted K energy up to each edge of the 10 ms grid, in seconds times power."""
        samples = self.signal.samples.astype(np.float64)
        shelved = lfilter(bs1770.STAGE_1_B, bs1770.STAGE_1_A, samples, axis=0)
        weighted = lfilter(bs1770.STAGE_2_B, bs1770.STAGE_2_A, shelved, axis=0) ** 2 @ np.array(self.weights)
        running = np.concatenate([[0.0], np.cumsum(weighted)])
        cells = int(len(samples) / self.rate_hz * 100 + 1e-6)
        return running[np.rint(np.arange(cells + 1) * self.rate_hz / 100).astype(int)] / self.rate_hz

    def powers(self, seconds, every_cells):
        cells = round(seconds * 100)
        starts = np.arange(0, len(self.grid) - cells, every_cells)
        # Sums that run over minutes leave a residue of 1e-13 where the sound has stopped.
        powers = (self.grid[starts + cells] - self.grid[starts]) / seconds
        return np.where(powers < 1e-12, 0.0, powers)

    @property
    def integrated_lufs(self):
        blocks = self.powers(0.4, 10)
        kept = blocks[powers_to_lufs(blocks) > -70.0]
        if not len(kept):
            return None
        gate_lufs = power_to_lufs(kept.mean()) - 10.0
        return power_to_lufs(kept[powers_to_lufs(kept) > gate_lufs].mean())

    @property
    def loudness_range_lu(self):
        powers = self.powers(3.0, 10)
        kept = powers[powers_to_lufs(powers) >= -70.0]
        if not len(kept):
            return None
        ordered = np.sort(powers_to_lufs(kept[powers_to_lufs(kept) >= power_to_lufs(kept.mean()) - 20.0]))
        low, high = (ordered[round((len(ordered) - 1) * share)] for share in (0.10, 0.95))
        return high - low

    @property
    def true_peak_dbtp(self):
        padded = np.pad(self.signal.samples.astype(np.float64), ((256, 256), (0, 0)))
        return 20.0 * math.log10(np.abs(resample(padded, 32 * len(padded), axis=0)).max())

    def maximum_lufs(self, seconds):
        powers = self.powers(seconds, 1)
        return power_to_lufs(powers.max()) if len(powers) else None

    momentary_max_lufs = property(lambda self: self.maximum_lufs(0.4))
    short_term_max_lufs = property(lambda self: self.maximum_lufs(3.0))
    why_null = MappingProxyType({"integrated_lufs": "silence"})

    def summary(self):
        """Itself: every number is worked out when it is asked for."""
        return self

    def glances(self):
        momentary, short_term = (powers_to_lufs(self.powers(seconds, 1)) for seconds in (0.4, 3.0))
        momentary_max, short_term_max = (np.maximum.accumulate(lufs) for lufs in (momentary, short_term))
        return [
            Glance(
                fed_s=cells / 100,
                reading=SimpleNamespace(
                    momentary_lufs=momentary[cells - 40] if cells >= 40 else None,
                    short_term_lufs=short_term[cells - 300] if cells >= 300 else None,
                    momentary_max_lufs=momentary_max[cells - 40] if cells >= 40 else None,
                    short_term_max_lufs=short_term_max[cells - 300] if cells >= 300 else None,
                ),
            )
            for cells in range(5, len(self.grid), 5)
        ]


def within(case):
    """How exact the stated ideal is: four decimals, and three for a peak found on a 32-fold grid."""
    return 0.003 if case.unit == "dBTP" else 0.0006


@pytest.mark.parametrize("case", WITH_AN_IDEAL, ids=lambda case: case.name)
def test_a_second_meter_of_a_few_lines_reads_the_stated_ideal(case):
    values = case.take([Reference(part) for part in case.parts()])
    assert len(values)
    assert values == pytest.approx(case.ideal, abs=within(case))


@pytest.mark.parametrize("case", AT_OTHER_RATES, ids=lambda case: case.name)
def test_the_peaks_at_other_rates_are_what_the_row_says(case):
    (part,) = case.parts()
    assert Reference(part).true_peak_dbtp == pytest.approx(20.0 * math.log10(0.5), abs=0.003)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_every_ideal_lies_inside_the_limits_of_its_document(case):
    if case.ideal is not None:
        assert case.low <= case.ideal <= case.high
    assert case.low <= case.expected <= case.high
    assert case.document and case.clause and case.reads and case.ideal_status == "CALC"


@pytest.mark.parametrize(
    ("case", "ideal_lufs"),
    # EBU Tech 3341 v4 cases 1-5; CALC by two ways, so to 0.0001.
    [("1", -22.9933), ("2", -32.9933), ("3", -23.0139), ("4", -23.0139), ("5", -22.9787)],
)
def test_the_ideal_of_a_stepped_tone_follows_by_formula(case, ideal_lufs):
    steps = ebu_tech_3341_v4_2023.STEPS_OF_CASE[case]
    k_gain_db = float(bs1770.k_gain_db(1000.0))
    assert gated_lufs_of_steps(steps, k_gain_db=k_gain_db) == pytest.approx(ideal_lufs, abs=0.00006)


def test_the_gate_signals_tell_a_wrong_gate_from_the_right_one():
    k_gain_db = float(bs1770.k_gain_db(1000.0))
    steps = itu_r_bs2217_2_2016.REL_GATE_STEPS
    right = gated_lufs_of_steps(steps, k_gain_db=k_gain_db)
    assert right == pytest.approx(-9.9865, abs=0.00006)
    for wrong_lu in (-8.0, -9.0, -11.0, -20.0):
        assert abs(gated_lufs_of_steps(steps, k_gain_db=k_gain_db, relative_gate_lu=wrong_lu) - right) > 1.0
    absolute = gated_lufs_of_steps(itu_r_bs2217_2_2016.ABS_GATE_STEPS, k_gain_db=k_gain_db)
    assert absolute == pytest.approx(-69.5001, abs=0.00006)


@pytest.mark.parametrize(
    ("gate_lu", "low_pct", "high_pct", "reads_lu"),
    # The first is the one of EBU Tech 3342 v4 (SEEN-S); what others would read is CALC.
    [
        (-20, 10, 95, 24.03),
        (-19, 10, 95, 23.16),
        (-21, 10, 95, 24.75),
        (-20, 5, 95, 25.44),
        (-20, 10, 90, 22.62),
    ],
)
def test_the_ramp_tells_wrong_gates_and_percentiles_from_the_right_ones(gate_lu, low_pct, high_pct, reads_lu):
    powers = 10.0 ** (np.array([level for _, level in ebu_tech_3342_v4_2023.RAMP_STEPS]) / 10.0)
    short_term = np.convolve(powers, np.ones(30) / 30.0, "valid")  # 3 s of steps of 100 ms
    kept = np.sort(powers_to_lufs(short_term[short_term >= short_term.mean() * 10.0 ** (gate_lu / 10.0)]))
    low, high = (kept[round((len(kept) - 1) * pct / 100)] for pct in (low_pct, high_pct))
    assert high - low == pytest.approx(reads_lu, abs=0.006)


@pytest.mark.parametrize("name", GATED_AND_NOT)
def test_a_general_library_reads_the_same(name):
    # pyloudnorm, filter class "DeMan": the coefficients of Tables 1 and 2 to 3e-11 dB (MEAS).
    import pyloudnorm

    (case,) = [case for case in CASES if case.name == name]
    (part,) = case.parts()
    second = pyloudnorm.Meter(part.rate_hz, filter_class="DeMan").integrated_loudness(part.samples)
    assert second == pytest.approx(case.ideal, abs=0.001)
