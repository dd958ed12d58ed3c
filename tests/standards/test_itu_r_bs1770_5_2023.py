"""The constants of BS.1770-5 against each other, against published tables, and in use."""

import math

import numpy as np
import pytest

from meter.errors import UsageError
from meter.standards import bs1770

LEFT, RIGHT, CENTRE, LFE, BACK_LEFT, BACK_RIGHT = 0x1, 0x2, 0x4, 0x8, 0x10, 0x20
BACK_CENTRE, SIDE_LEFT, SIDE_RIGHT, TOP_FRONT_LEFT = 0x100, 0x200, 0x400, 0x1000
FRONTS = LEFT | RIGHT | CENTRE

# K-weighting at 48 kHz: CALC from Tables 1 and 2 by an evaluation that is not ours, dB.
K_GAIN_DB = {
    10: -23.7862,
    25: -10.3928,
    50: -3.9341,
    100: -1.1335,
    500: 0.0425,
    997: 0.6910,
    1000: 0.6977,
    2000: 3.0713,
    5000: 4.0134,
    10_000: 4.0419,
    20_000: 4.0431,
}

# Sines in left and right unless said otherwise: frequency, dBFS, weights, LUFS. CALC.
SINES = [
    (997.0, 0.0, 1.0, -3.0103),
    (997.0, 0.0, 2.0, 0.0),
    (1000.0, -18.0, 2.0, -17.9933),
    (1000.0, -23.0, 1.0, -26.0036),
    (60.0, -12.0, 2.0, -15.5902),
    (40.0, -12.0, 2.0, -18.2579),
    (30.0, -12.0, 2.0, -20.9948),
]


def test_the_analogue_shelf_gives_table_1_back():
    tangent = math.tan(math.pi * bs1770.SHELF_HZ / bs1770.TABLES_RATE_HZ)
    over_q = tangent / bs1770.SHELF_Q
    scale = 1.0 + over_q + tangent**2
    b = (
        (bs1770.SHELF_VH + bs1770.SHELF_VB * over_q + tangent**2) / scale,
        2.0 * (tangent**2 - bs1770.SHELF_VH) / scale,
        (bs1770.SHELF_VH - bs1770.SHELF_VB * over_q + tangent**2) / scale,
    )
    a = (1.0, 2.0 * (tangent**2 - 1.0) / scale, (1.0 - over_q + tangent**2) / scale)
    assert b == pytest.approx(bs1770.STAGE_1_B, abs=2e-15)
    assert a == pytest.approx(bs1770.STAGE_1_A, abs=2e-15)


def test_the_analogue_high_pass_gives_table_2_back():
    tangent = math.tan(math.pi * bs1770.HIGHPASS_HZ / bs1770.TABLES_RATE_HZ)
    over_q = tangent / bs1770.HIGHPASS_Q
    scale = 1.0 + over_q + tangent**2
    a = (1.0, 2.0 * (tangent**2 - 1.0) / scale, (1.0 - over_q + tangent**2) / scale)
    assert a == pytest.approx(bs1770.STAGE_2_A, abs=2e-15)
    assert bs1770.STAGE_2_B == (1.0, -2.0, 1.0)


@pytest.mark.parametrize(("f_hz", "gain_db"), K_GAIN_DB.items())
def test_the_k_gain_is_that_of_the_printed_coefficients(f_hz, gain_db):
    assert float(bs1770.k_gain_db(f_hz)) == pytest.approx(gain_db, abs=0.00011)


def test_the_k_gain_takes_an_array_of_frequencies():
    gains_db = bs1770.k_gain_db(np.array([997.0, 1000.0]))
    assert gains_db == pytest.approx([0.6910, 0.6977], abs=0.00011)


@pytest.mark.parametrize(("f_hz", "level_dbfs", "weight", "reads_lufs"), SINES)
def test_the_loudness_of_a_sine_follows_by_formula(f_hz, level_dbfs, weight, reads_lufs):
    assert bs1770.sine_lufs(f_hz, level_dbfs, weight=weight) == pytest.approx(reads_lufs, abs=0.00011)


def test_the_formula_meets_the_calibration_that_the_recommendation_states():
    # BS.1770-5 Annex 1: 0 dBFS, 997 Hz, one of L, C or R. SEEN-P.
    reading = bs1770.sine_lufs(bs1770.CALIBRATION_HZ, 0.0)
    assert round(reading, 2) == bs1770.CALIBRATION_LKFS


@pytest.mark.parametrize(
    ("channels", "weights"),
    # BS.1770-5 Annex 1, Table 3. SEEN-P.
    [
        (1, (1.0,)),
        (2, (1.0, 1.0)),
        (3, (1.0, 1.0, 1.0)),
        (4, (1.0, 1.0, 1.41, 1.41)),
        (5, (1.0, 1.0, 1.0, 1.41, 1.41)),
        (6, (1.0, 1.0, 1.0, 0.0, 1.41, 1.41)),
    ],
)
def test_weights_by_count_are_those_of_the_usual_order(channels, weights):
    assert bs1770.default_weights(channels) == weights


@pytest.mark.parametrize("channels", [-1, 0, 7, 8])
def test_a_number_of_channels_without_weights_is_refused_with_what_to_do(channels):
    with pytest.raises(
        UsageError, match=rf"^{channels} channels came, but weights are known for 1 to 6: choose a pair"
    ):
        bs1770.default_weights(channels)


@pytest.mark.parametrize(
    ("mask", "channels", "weights"),
    # BS.1770-5 Annex 3, Tables 4 and 5. SEEN-P.
    [
        pytest.param(CENTRE, 1, (1.0,), id="mono"),
        pytest.param(LEFT | RIGHT, 2, (1.0, 1.0), id="stereo"),
        pytest.param(LEFT | RIGHT | LFE, 3, (1.0, 1.0, 0.0), id="2.1"),
        pytest.param(LEFT | RIGHT | BACK_LEFT | BACK_RIGHT, 4, (1.0, 1.0, 1.41, 1.41), id="quad"),
        pytest.param(FRONTS | BACK_CENTRE, 4, (1.0, 1.0, 1.0, 1.0), id="one back"),
        pytest.param(FRONTS | LFE | BACK_LEFT | BACK_RIGHT, 6, (1, 1, 1, 0, 1.41, 1.41), id="5.1 back"),
        pytest.param(FRONTS | LFE | SIDE_LEFT | SIDE_RIGHT, 6, (1, 1, 1, 0, 1.41, 1.41), id="5.1 side"),
        pytest.param(
            FRONTS | LFE | BACK_LEFT | BACK_RIGHT | SIDE_LEFT | SIDE_RIGHT,
            8,
            (1, 1, 1, 0, 1, 1, 1.41, 1.41),
            id="7.1: backs at 135 degrees",
        ),
        pytest.param(
            FRONTS | LFE | BACK_CENTRE | SIDE_LEFT | SIDE_RIGHT, 7, (1, 1, 1, 0, 1, 1.41, 1.41), id="6.1"
        ),
        pytest.param(LEFT | RIGHT | TOP_FRONT_LEFT, 3, (1.0, 1.0, 1.0), id="overhead"),
    ],
)
def test_weights_follow_the_positions_a_file_states(mask, channels, weights):
    assert bs1770.weights_for_mask(mask, channels) == weights


def test_a_mask_without_positions_falls_back_to_the_count():
    assert bs1770.weights_for_mask(0, 6) == bs1770.default_weights(6)


def test_channels_beyond_the_mask_have_no_position_and_count_plainly():
    assert bs1770.weights_for_mask(LEFT | RIGHT, 3) == (1.0, 1.0, 1.0)


def test_bits_beyond_the_channels_move_nobody():
    # The side pair has no channel here, so the backs are the only surrounds.
    mask = LEFT | RIGHT | BACK_LEFT | BACK_RIGHT | SIDE_LEFT | SIDE_RIGHT
    assert bs1770.weights_for_mask(mask, 4) == (1.0, 1.0, 1.41, 1.41)


@pytest.mark.parametrize(("mask", "channels"), [(-1, 2), (3, 0)])
def test_a_mask_that_cannot_be_meant_is_refused_with_what_to_do(mask, channels):
    with pytest.raises(
        UsageError, match=rf"^channel mask {mask} with {channels} channels came, .*leave the mask out"
    ):
        bs1770.weights_for_mask(mask, channels)
