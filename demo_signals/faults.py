"""The faults planted in the demo tune: where, what a meter must read there, and why.

Everything else in the tune is meant to be sound, so a finding outside these places is a
false alarm. Expected readings are those of the rendered tune, worked out from how each
fault is made where that is possible (see `Fault.expected` of each record).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from demo_signals.pattern import Note, bar_to_s, midi_to_hz
from meter.units import amplitude_to_db

WIDE_SUB_DEG: Final = 120.0
"""Phase between left and right of the sub's fundamental in the wide bars."""

HOT_DRIVE_DB: Final = 3.5
"""Extra gain into the mastering stage in the hot bars."""

SIDE_DROP_DB: Final = 16.0
"""How much lower the right channel is in the one-sided bars."""

FLAT_NOTE_CENTS: Final = -30.0
FLAT_NOTE_MIDI: Final = 32
"""A flat 1."""

KICK_BODY_HZ: Final = 95.0
"""Where a sound kick of the tune settles: 90-100 Hz, clear above the sub (common practice, no source)."""

LOW_KICK_BODY_HZ: Final = 55.0
"""Where the faulty kicks settle, between the sub's notes."""

OVER_AMPLITUDE: Final = 1.2
"""Peak of the over bursts between the samples: +1.58 dBTP."""

OVER_PLACES: Final = ((99, 6), (100, 2), (101, 14), (102, 6), (103, 11), (104, 3))
"""Bar and step of each over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One planted fault. Bars are counted from 1 and both ends are included.

    `expected` is what `measure` must read over the whole stretch, within `tolerance`,
    in `unit`. `at_s` lists single places where the fault is not a stretch.
    """

    kind: str
    start_bar: int
    end_bar: int
    start_s: float
    end_s: float
    measure: str
    expected: float
    tolerance: float
    unit: str
    sentence: str
    at_s: tuple[float, ...] = ()
    note: str | None = None
    nominal_hz: float | None = None

    def holds_bar(self, bar: int) -> bool:
        """Whether a bar belongs to the stretch."""
        return self.start_bar <= bar <= self.end_bar


WIDE_SUB: Final = Fault(
    kind="wide sub",
    start_bar=41,
    end_bar=48,
    start_s=bar_to_s(41),
    end_s=bar_to_s(49),
    measure="lost in mono below 120 Hz",
    expected=-4.8,
    tolerance=0.5,
    unit="dB",
    sentence=(
        f"For eight bars left and right of the sub are {WIDE_SUB_DEG:.0f} degrees apart: "
        "much of it is lost in mono."
    ),
)
"""Alone, two sines 120 degrees apart lose 6.0 dB in mono; the kick, alike on both sides, fills some of it."""

LOW_KICK: Final = Fault(
    kind="kick inside the sub",
    start_bar=49,
    end_bar=56,
    start_s=bar_to_s(49),
    end_s=bar_to_s(57),
    measure="kick body",
    expected=LOW_KICK_BODY_HZ,
    tolerance=2.0,
    unit="Hz",
    sentence=(
        f"For eight bars the kick settles at {LOW_KICK_BODY_HZ:.0f} Hz, among the sub's notes, "
        f"instead of {KICK_BODY_HZ:.0f} Hz."
    ),
)

ONE_SIDED: Final = Fault(
    kind="one-sided",
    start_bar=61,
    end_bar=66,
    start_s=bar_to_s(61),
    end_s=bar_to_s(67),
    measure="right against left",
    expected=-SIDE_DROP_DB,
    tolerance=1.0,
    unit="dB",
    sentence=f"For six bars of the breakdown the right channel is {SIDE_DROP_DB:.0f} dB lower than the left.",
)

FLAT_NOTE: Final = Fault(
    kind="flat note",
    start_bar=77,
    end_bar=77,
    start_s=bar_to_s(77),
    end_s=bar_to_s(77, 10),
    measure="sub note against equal temperament",
    expected=FLAT_NOTE_CENTS,
    tolerance=2.5,
    unit="cents",
    sentence=(
        f"One held A flat 1 is {-FLAT_NOTE_CENTS:.0f} cents flat: "
        f"{midi_to_hz(FLAT_NOTE_MIDI + FLAT_NOTE_CENTS / 100):.2f} Hz "
        f"instead of {midi_to_hz(FLAT_NOTE_MIDI):.2f} Hz."
    ),
    note="A flat 1",
    nominal_hz=midi_to_hz(FLAT_NOTE_MIDI),
)
"""The tolerance is that of a 0.7 s note with a kick on its onset."""

TOO_LOUD: Final = Fault(
    kind="over target",
    start_bar=81,
    end_bar=96,
    start_s=bar_to_s(81),
    end_s=bar_to_s(97),
    measure="highest short-term loudness",
    expected=-4.8,
    tolerance=0.3,
    unit="LUFS",
    sentence=(
        f"For sixteen bars the second drop is driven {HOT_DRIVE_DB:g} dB harder: "
        "over -6.0 LUFS, the top of the club target."
    ),
)

OVERS: Final = Fault(
    kind="true-peak overs",
    start_bar=99,
    end_bar=104,
    start_s=bar_to_s(99),
    end_s=bar_to_s(105),
    measure="true peak",
    expected=amplitude_to_db(OVER_AMPLITUDE),
    tolerance=0.3,
    unit="dBTP",
    sentence=(
        f"{len(OVER_PLACES)} bright clicks reach {amplitude_to_db(OVER_AMPLITUDE):+.1f} dBTP "
        "between the samples, though no sample is at full scale."
    ),
    at_s=tuple(bar_to_s(bar, step) for bar, step in OVER_PLACES),
)

FAULTS: Final = (WIDE_SUB, LOW_KICK, ONE_SIDED, FLAT_NOTE, TOO_LOUD, OVERS)
"""All of them, in the order of the tune."""


def kick_body_hz(low: bool) -> float:
    """Where a kick settles, of the faulty or of the sound kind."""
    return LOW_KICK_BODY_HZ if low else KICK_BODY_HZ


def sub_hz(note: Note) -> float:
    """Frequency of a sub note as played: in tune, but for the flat one."""
    flat = note.bar == FLAT_NOTE.start_bar and note.step == 0
    return midi_to_hz(note.midi + (FLAT_NOTE_CENTS / 100.0 if flat else 0.0))


def sub_between_deg(note: Note) -> float:
    """Phase between left and right of a sub note as played."""
    return WIDE_SUB_DEG if WIDE_SUB.holds_bar(note.bar) else 0.0
