"""ITU-R BS.1770-5 (11/2023): K-weighting, gating and channel weights, each with its clause.

The recommendation prints filter coefficients for 48 kHz only and asks that other rates
"provide the same frequency response"; the analogue prototypes below give the printed
coefficients back through a plain bilinear transform to 4.4e-16.

Status of the sources: SEEN-P = read in the text of the document, SEEN-S = read in a text
that quotes it, CALC = worked out from what was read.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from meter.errors import UsageError
from meter.units import Floats, db_to_power, power_to_lufs, powers_to_db

DOCUMENT: Final = "ITU-R BS.1770-5 (11/2023)"

TABLES_RATE_HZ: Final = 48_000
"""The rate for which Tables 1 and 2 are printed. Annex 1. SEEN-P."""

STAGE_1_B: Final = (1.53512485958697, -2.69169618940638, 1.19839281085285)
"""Numerator of the shelf (head effect). Annex 1, Table 1. SEEN-P."""

STAGE_1_A: Final = (1.0, -1.69065929318241, 0.73248077421585)
"""Denominator of the shelf; y[n] = ... - a1 y[n-1] - a2 y[n-2]. Annex 1, Table 1. SEEN-P."""

STAGE_2_B: Final = (1.0, -2.0, 1.0)
"""Numerator of the high-pass (revised low-frequency B). Annex 1, Table 2. SEEN-P."""

STAGE_2_A: Final = (1.0, -1.99004745483398, 0.99007225036621)
"""Denominator of the high-pass. Annex 1, Table 2. SEEN-P."""

SHELF_HZ: Final = 1681.974450955533
"""Corner of the analogue prototype of stage 1. Unofficial; gives Table 1 back. SEEN-S + CALC."""

SHELF_Q: Final = 0.7071752369554196
"""Quality of the analogue prototype of stage 1. SEEN-S + CALC."""

SHELF_VH: Final = 1.584864701130855
"""Amplitude gain of the shelf at high frequencies (3.9998 dB). SEEN-S + CALC."""

SHELF_VB: Final = 1.258720930232562
"""Factor of the band term of the shelf. SEEN-S + CALC."""

HIGHPASS_HZ: Final = 38.13547087602444
"""Corner of the analogue prototype of stage 2. Unofficial; gives Table 2 back. SEEN-S + CALC."""

HIGHPASS_Q: Final = 0.5003270373238773
"""Quality of the analogue prototype of stage 2; its numerator is left 1, -2, 1. SEEN-S + CALC."""

TG_S: Final = 0.400
"""Length of a gating block, to the nearest sample. Annex 1. SEEN-P."""

OVERLAP: Final = 0.75
"""Overlap of gating blocks: a new one every 100 ms; an incomplete last block is not used.
Annex 1. SEEN-P."""

ABSOLUTE_GATE_LUFS: Final = -70.0
"""A block counts if its loudness is above this, strictly. Annex 1. SEEN-P."""

RELATIVE_GATE_LU: Final = -10.0
"""A block counts if it is above the loudness of the blocks over the absolute gate plus this,
strictly. Annex 1. SEEN-P."""

SURROUND_WEIGHT: Final = 1.41
"""Weight of Ls and Rs (about +1.5 dB). Annex 1, Table 3. SEEN-P."""

CALIBRATION_HZ: Final = 997.0
"""The exact frequency behind a nominal 1 kHz. Annex 1, Note 1. SEEN-P."""

CALIBRATION_LKFS: Final = -3.01
"""Reading of a 0 dBFS sine of 997 Hz on one of L, C or R. Annex 1. SEEN-P; CALC -3.0103."""

WEIGHTS: Final[dict[int, tuple[float, ...]]] = {
    1: (1.0,),
    2: (1.0, 1.0),
    3: (1.0, 1.0, 1.0),
    4: (1.0, 1.0, SURROUND_WEIGHT, SURROUND_WEIGHT),
    5: (1.0, 1.0, 1.0, SURROUND_WEIGHT, SURROUND_WEIGHT),
    6: (1.0, 1.0, 1.0, 0.0, SURROUND_WEIGHT, SURROUND_WEIGHT),
}
"""Weights of Annex 1, Table 3, in the usual order: L R, C, LFE (not counted), Ls Rs. The
order by count alone is common practice, no source; a file's own channel mask goes first."""

MASK_LFE: Final = 0x8
MASK_BACKS: Final = 0x10 | 0x20
MASK_SIDES: Final = 0x200 | 0x400
"""Bits of the channel mask of an extensible WAVE header: low frequency, back left and right,
side left and right. From memory."""


def default_weights(channels: int) -> tuple[float, ...]:
    """Channel weights by the number of channels.

    Parameters
    ----------
    channels : int, 1 to 6
        1 mono; 2 L R; 3 L R C; 4 L R Ls Rs; 5 L R C Ls Rs; 6 L R C LFE Ls Rs.

    Raises
    ------
    UsageError
        For any other number.

    Source
    ------
    ITU-R BS.1770-5 (11/2023), Annex 1, Table 3. SEEN-P.
    """
    weights = WEIGHTS.get(channels)
    if weights is None:
        raise UsageError(
            f"{channels} channels came, but weights are known for 1 to 6: "
            "choose a pair of them, for example --channels 1,2"
        )
    return weights


def weights_for_mask(mask: int, channels: int) -> tuple[float, ...]:
    """Channel weights by the speaker positions that a file states.

    A single pair of surrounds, called side or back, stands at +-90 to +-110 degrees and
    counts 1.41. Where both pairs are present the backs stand at +-135 and count 1.0, as do
    the middle back (180 degrees), the fronts and everything overhead. Channels beyond the
    bits of the mask have no position and count 1.0.

    Parameters
    ----------
    mask : int
        Channel mask of an extensible WAVE header; 0 = no positions, so `default_weights`.
    channels : int, >= 1
        Number of channels, in the order of the bits.

    Raises
    ------
    UsageError
        For a negative mask, for no channel, or with mask 0 as `default_weights`.

    Source
    ------
    ITU-R BS.1770-5 (11/2023), Annex 3, Table 4 (elevation under 30 degrees and azimuth 60 to
    120 degrees: 1.41) and Table 5. SEEN-P.
    """
    if mask < 0 or channels < 1:
        raise UsageError(
            f"channel mask {mask} with {channels} channels came, but a mask is 0 or more and "
            "channels are 1 or more: leave the mask out to count by the number of channels"
        )
    if mask == 0:
        return default_weights(channels)
    bits = [1 << place for place in range(mask.bit_length()) if mask >> place & 1][:channels]
    # Only a pair that has a channel decides where the other one stands.
    has_sides = any(bit & MASK_SIDES for bit in bits)
    placed = [_weight_of_position(bit, has_sides=has_sides) for bit in bits]
    return tuple(placed + [1.0] * (channels - len(placed)))


def _weight_of_position(bit: int, *, has_sides: bool) -> float:
    if bit & MASK_LFE:
        return 0.0
    if bit & MASK_SIDES or (bit & MASK_BACKS and not has_sides):
        return SURROUND_WEIGHT
    return 1.0


def k_gain_db(f_hz: float | npt.ArrayLike) -> Floats:
    """Gain of the K-weighting at 48 kHz, from the printed coefficients.

    Parameters
    ----------
    f_hz : float or array
        Frequencies in Hz, above 0 and below 24 000.

    Returns
    -------
    array of float64
        dB, same shape; +0.6910 at 997 Hz, which is what the -0.691 of the equation cancels.

    Source
    ------
    ITU-R BS.1770-5 (11/2023), Annex 1, Tables 1 and 2. SEEN-P; the values are CALC.
    """
    delay = np.exp(-2j * np.pi * np.asarray(f_hz, np.float64) / TABLES_RATE_HZ)
    response = np.ones_like(delay)
    for b, a in ((STAGE_1_B, STAGE_1_A), (STAGE_2_B, STAGE_2_A)):
        response = response * np.polyval(b[::-1], delay) / np.polyval(a[::-1], delay)
    return powers_to_db(np.abs(response) ** 2)


def sine_lufs(f_hz: float, level_dbfs: float, *, weight: float = 1.0) -> float:
    """Loudness of a steady sine at 48 kHz, by formula.

    Parameters
    ----------
    f_hz : float
        Frequency, Hz.
    level_dbfs : float
        Peak of the sine in each channel, dB re full scale.
    weight : float
        Sum of the weights of the channels that carry it: 2.0 for a pair.

    Source
    ------
    ITU-R BS.1770-5 (11/2023), Annex 1, loudness equation. SEEN-P; the values are CALC.
    """
    mean_square = db_to_power(level_dbfs) / 2.0
    return power_to_lufs(weight * mean_square * db_to_power(float(k_gain_db(f_hz))))
