"""Levels at the ear from headphone data, from a meter, and from nothing."""

from __future__ import annotations

import math

import pytest

from meter.errors import UsageError
from meter.exposure.calibration import (
    HEADPHONE_BUDGET_DB,
    computed,
    headphone_full_scale_db,
    headphone_plus_db,
    measured,
    unknown,
)

SIGNAL_DB = -15.7

# Worked cases: a programme of -15.7 dB (A, against a full-scale sine). CALC, from the formulas of the module.
CASES = [
    ({"sensitivity_db": 96.0, "impedance_ohm": 80.0, "volts": 1.0}, 91.3),
    ({"sensitivity_db": 100.0, "impedance_ohm": 32.0, "volts": 1.0}, 99.2),
    (
        {"sensitivity_db": 100.0, "impedance_ohm": 32.0, "volts": 1.0, "is_open": True, "output_ohm": 30.0},
        93.5,
    ),
]


@pytest.mark.parametrize(("data", "level_dba"), CASES)
def test_headphone_arithmetic(data, level_dba):
    assert SIGNAL_DB + headphone_full_scale_db(per="mW", **data) == pytest.approx(level_dba, abs=0.06)


def test_per_volt_and_per_milliwatt_agree():
    """96 dB/mW at 80 ohm are 107.0 dB/V (published table, SEEN)."""
    per_mw = headphone_full_scale_db(96.0, "mW", impedance_ohm=80.0, volts=1.0)
    assert per_mw == pytest.approx(107.0, abs=0.05)
    assert headphone_full_scale_db(107.0, "V", impedance_ohm=80.0, volts=1.0) == 107.0
    lower = headphone_full_scale_db(107.0, "V", impedance_ohm=80.0, volts=0.1, volume_db=-6.0)
    assert lower == pytest.approx(81.0)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"impedance_ohm": 0.0}, "the impedance is 0"),
        ({"volts": 100.0}, "the voltage is 100"),
        ({"sensitivity_db": 20.0}, "the sensitivity is 20"),
        ({"volume_db": 3.0}, "the volume is 3"),
        ({"output_ohm": -1.0}, "the impedance of the output is -1"),
    ],
)
def test_data_that_cannot_be_meant_is_one_sentence(change, said):
    data = {"sensitivity_db": 96.0, "impedance_ohm": 80.0, "volts": 1.0} | change
    with pytest.raises(UsageError, match=said):
        headphone_full_scale_db(per="mW", **data)


def test_the_interval_that_is_drawn_is_about_twice_the_sum_of_the_variances():
    """K = 2 covers 95 % where no part rules; even parts have a variance of a third of their square. CALC."""
    variance = sum(
        width**2 / (3.0 if form == "even" else 1.0) for _, width, form in HEADPHONE_BUDGET_DB
    )
    assert headphone_plus_db() == pytest.approx(2.0 * math.sqrt(variance), abs=0.4)
    assert headphone_plus_db() == headphone_plus_db()


def test_a_meter_gives_its_own_figure_with_its_own_interval():
    made = measured("desk", "monitors", read_dba=74.0, signal_dba=-32.0, date="2026-01-02")
    assert made.at_ear_db(-32.0)[0] == pytest.approx(74.0)
    assert made.at_ear_db(-12.0) == pytest.approx((94.0, 94.0 - made.plus_db, 94.0 + made.plus_db))
    assert 2.0 < made.plus_db < 4.0
    assert made.is_narrow
    for read in (20.0, 140.0, math.nan):
        with pytest.raises(UsageError, match="30 to 130 dBA were expected"):
            measured("desk", "monitors", read_dba=read, signal_dba=-32.0, date="2026-01-02")


def test_only_a_narrow_interval_gives_a_dose():
    assert not unknown("x", "headphones", date="2026-01-02").is_narrow
    assert computed("x", full_scale_db=107.0, date="2026-01-02").is_narrow
    assert not computed("x", full_scale_db=107.0, date="2026-01-02", plus_db=7.0).is_narrow


def test_unknown_equipment_is_taken_as_the_standard_for_players_has_it():
    """IEC 62368-1 Table 39 as used in open source code (SEEN-S there): -30 dBFS 80 dB, -10 dBFS 100 dB."""
    made = unknown("x", "headphones", date="2026-01-02")
    assert made.at_ear_db(-30.0)[0] == 80.0
    assert made.at_ear_db(-10.0)[0] == 100.0
