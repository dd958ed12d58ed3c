"""From a level in the signal to one at the ear: one figure for each setup, and how far it may be off.

The figure is the level at the ear of a full-scale sine of 1 kHz. It is measured with somebody's sound
level meter, computed from the data of headphones, or not known; each has its interval. What comes out is
an estimate and no measurement by a sound level meter.

Source
------
Electro-acoustics: L = S_V + 20·log10(V), S_V = S_mW + 30 - 10·log10(Z); algebra, the second agrees with a
published table (SEEN). The uncertainties that are added up are this project's assumptions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from meter.errors import UsageError
from meter.units import amplitude_to_db, power_to_db

Kind = Literal["measured", "computed", "unknown"]
Feeds = Literal["headphones", "monitors", "nothing"]

FEEDS: Final = ("headphones", "monitors", "nothing")

WIDEST_DB: Final = 6.0
"""With a wider interval to each side, in whole decibels, there is a range of levels, and no dose and no time
left."""

UNKNOWN_DB: Final = 110.0
"""Of unknown equipment: -30 dBFS taken as 80 dB and -10 dBFS as 100 dB. IEC 62368-1, Table 39, as used in
open source code (SEEN-S there; the standard was not seen)."""
UNKNOWN_PLUS_DB: Final = 15.0

MEASURED_DB: Final = 2.0
"""A phone or a simple meter, its place and the reading of it. Assumed; two of the tested phone programs
were within 0.5 dB, others off by 2 dB and more (published comparison, SEEN-S)."""
PLACE_DB: Final = 2.0
"""How the sound differs around where one sits. Assumed."""

HEADPHONE_BUDGET_DB: Final = (
    ("sensitivity as printed, even within ± 3 dB", 3.0, "even"),
    ("voltage", 0.2, "normal"),
    ("volume setting", 0.5, "normal"),
    ("fit", 1.5, "normal"),
    ("ears differ", 1.5, "normal"),
    ("coupler to ear", 1.5, "normal"),
)
"""Standard deviations, or half-widths of what is even. Assumed; from published spreads."""

_DRAWS: Final = 40_000
_SHARE_PCT: Final = 95.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """What is known of a setup.

    Attributes
    ----------
    setup : str
        Its name, as the user says it: "closed headphones, interface at 2 o'clock".
    feeds : str
        What this source goes to: headphones, monitors, or nothing that anybody hears.
    kind : str
        "measured", "computed" or "unknown".
    full_scale_db : float
        Estimated level at the ear of a full-scale sine of 1 kHz.
    plus_db : float
        Half of the interval in which it lies in 19 of 20 cases.
    date : str
        When it was made, YYYY-MM-DD.
    source : str
        The source it was made for; with another one it is asked for again. Empty: any.
    """

    setup: str
    feeds: Feeds
    kind: Kind
    full_scale_db: float
    plus_db: float
    date: str
    source: str = ""

    @property
    def is_narrow(self) -> bool:
        """Whether a dose and a time left may be told."""
        return self.kind != "unknown" and round(self.plus_db) <= WIDEST_DB

    def at_ear_db(self, level_db: float) -> tuple[float, float, float]:
        """Level at the ear, and the ends of its interval, from a level against a full-scale sine."""
        middle = level_db + self.full_scale_db
        return middle, middle - self.plus_db, middle + self.plus_db


def unknown(setup: str, feeds: Feeds, *, date: str, source: str = "") -> Calibration:
    """Nothing is known of the setup but what it feeds."""
    return Calibration(
        setup=setup,
        feeds=feeds,
        kind="unknown",
        full_scale_db=UNKNOWN_DB,
        plus_db=UNKNOWN_PLUS_DB,
        date=date,
        source=source,
    )


def measured(
    setup: str,
    feeds: Feeds,
    *,
    read_dba: float,
    signal_dba: float,
    date: str,
    meter_plus_db: float = MEASURED_DB,
    source: str = "",
) -> Calibration:
    """From what a sound level meter read while a noise was playing.

    Parameters
    ----------
    read_dba : float
        What the meter showed, where the ears are.
    signal_dba : float
        A-weighted level of the noise, against a full-scale sine.
    meter_plus_db : float
        How far the meter may be off.

    Raises
    ------
    UsageError
        A level that no meter shows.
    """
    if not 30.0 <= read_dba <= 130.0:
        raise UsageError(f"the meter read {read_dba:g} dBA, but 30 to 130 dBA were expected; read it again")
    return Calibration(
        setup=setup,
        feeds=feeds,
        kind="measured",
        full_scale_db=read_dba - signal_dba,
        plus_db=math.hypot(meter_plus_db, PLACE_DB),
        date=date,
        source=source,
    )


def headphone_full_scale_db(
    sensitivity_db: float,
    per: Literal["mW", "V"],
    *,
    impedance_ohm: float,
    volts: float,
    is_open: bool = False,
    output_ohm: float = 0.0,
    volume_db: float = 0.0,
) -> float:
    """Level at the ear of a full-scale sine, from the data of headphones and of what drives them.

    Parameters
    ----------
    sensitivity_db : float
        dB for 1 mW, or for 1 V, as printed.
    per : "mW" or "V"
    impedance_ohm : float
        Of the headphones.
    volts : float
        Rms of a full-scale sine at the jack, at this volume.
    is_open : bool
        It was measured without the headphones: the output's impedance takes its part.
    output_ohm : float
    volume_db : float
        Attenuation since, 0 and below.

    Raises
    ------
    UsageError
        Out of range.
    """
    for name, value, low, high in (
        ("the sensitivity", sensitivity_db, 60.0, 140.0),
        ("the impedance", impedance_ohm, 4.0, 1000.0),
        ("the voltage", volts, 0.001, 20.0),
        ("the impedance of the output", output_ohm, 0.0, 1000.0),
        ("the volume", volume_db, -100.0, 0.0),
    ):
        if not low <= value <= high:
            raise UsageError(f"{name} is {value:g}, but {low:g} to {high:g} was expected")
    at_1_v = sensitivity_db if per == "V" else sensitivity_db + 30.0 - power_to_db(impedance_ohm)
    loaded = volts * impedance_ohm / (impedance_ohm + output_ohm) if is_open else volts
    return at_1_v + amplitude_to_db(loaded) + volume_db


def headphone_plus_db() -> float:
    """Half of the interval of what is computed from headphone data, by drawing from the budget."""
    draws = np.random.default_rng(0)
    off = np.zeros(_DRAWS)
    for _, width_db, form in HEADPHONE_BUDGET_DB:
        even = draws.uniform(-width_db, width_db, _DRAWS)
        off += even if form == "even" else draws.normal(0.0, width_db, _DRAWS)
    return float(np.percentile(np.abs(off), _SHARE_PCT))


def computed(
    setup: str, *, full_scale_db: float, date: str, plus_db: float | None = None, source: str = ""
) -> Calibration:
    """Headphones, from their data."""
    return Calibration(
        setup=setup,
        feeds="headphones",
        kind="computed",
        full_scale_db=full_scale_db,
        plus_db=round(headphone_plus_db(), 1) if plus_db is None else plus_db,
        date=date,
        source=source,
    )
