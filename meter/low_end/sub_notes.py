"""The sub's notes: when each begins and ends, its pitch, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from meter.low_end.clock import LowClock
from meter.low_end.note_fit import Fits, Piece, fit, piece_of, turning
from meter.low_end.note_names import shared_tuning_cents
from meter.low_end.note_naming import by_concert_pitch, by_tuning
from meter.low_end.note_records import SubNote, Unpitched
from meter.low_end.note_sections import middle_of, sections_of
from meter.low_end.note_signal import NoteSignal, middle_and_side
from meter.low_end.note_tracks import Pitches, Track, peaks_of, pitches_of, tracks_of
from meter.low_end.note_voices import LONGEST_S, apart_cents
from meter.low_end.settings import LowEndSettings
from meter.units import Floats, amplitude_to_db, power_to_db

LOOK_FRAMES: Final = 96
"""Notes are looked for once in so many frames, 1.92 s: the same frames in any cutting."""
SETTLED_FRAMES: Final = 20
"""A note is over when so many frames have come behind it."""
LONGEST_FRAMES: Final = 750
"""A note that is held longer, 15 s, is told in parts."""
LEGATO_FRAMES: Final = 8
CONTEXT_FRAMES: Final = 8
MOST_WAITING: Final = 64
MOST_NOTES: Final = 20_000

SURE_CENTS: Final = 10.0
"""What is less sure has no single pitch."""
BELIEVED: Final = 0.3
DRUM_DECAY_DB_S: Final = 45.0
DRUM_S: Final = 0.4
"""What fades so fast in so short a time is a drum: a kick's body, not a note."""
SWING: Final = 0.09
STEEP: Final = 0.3
RISE: Final = 0.5
"""Strength that comes and goes is that of voices that beat, found by trial. Natural logarithms; half as much
is allowed where it fades or grows."""
LONG_S: Final = 0.45
BARE: Final = 0.68
"""Under a kick a short note may swing too: it tells where so much was believed, or where the note is long."""

APART_CENTS: Final = 2.5
"""Voices that spread more are no single pitch: two 5 cents apart, seven over 7.5 cents."""
INSIDE: Final = 1.645
"""Standard deviations that hold nine in ten of a normal distribution (CALC): by so much voices that are still
one pitch widen what is stated."""

LEAST_UNPITCHED_S: Final = 0.25
SHORT_S: Final = 0.16
RUN_S: Final = 0.06
"""Short notes that follow on each other so closely are a pitch that wobbles, not a melody."""

UNDER_HZ: Final = 40.0
HELD_S: Final = 1.0
"""Of a held note so much is looked at."""
FRESH_FRAMES: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class NotesReading:
    """What is known of the notes; the names are those of `LowEnd`."""

    ended: tuple[SubNote, ...] = ()
    now: SubNote | None = None
    unpitched: tuple[Unpitched, ...] = ()
    tuning_cents: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """A section of one pitch that waits for its fit."""

    at_s: float
    seconds: float
    piece: Piece
    both: float  # power of middle and side, against the one that is fitted
    harmonics: tuple[float, float]  # power at twice and three times the pitch, against it
    whole: Floats  # its beginning with all of its harmonics


@dataclass(frozen=True, slots=True, kw_only=True)
class _Heard:
    """A stretch in which something sounds."""

    at_s: float
    until_s: float
    power: float


class SubNotes:
    """Finds the notes in the low-end signal. A part of `LowEndAnalysis`."""

    def __init__(self, clock: LowClock, settings: LowEndSettings) -> None:
        self._clock, self._settings = clock, settings
        self._signal = NoteSignal(clock.rate_hz)
        self._waiting: list[_Found] = []
        self._heard: list[_Heard] = []
        self._ended: list[SubNote] = []
        self._unpitched: list[Unpitched] = []
        self._cents: list[float] = []
        self._named: tuple[float | None, tuple[SubNote, ...]] = (None, ())
        self._is_empty = True
        self._begin(0)

    def _begin(self, first_index: int) -> None:
        self._origin = first_index
        self._signal.reset()
        self._sound: Floats = np.empty((2, 0))
        # The same with its harmonics: its sample k·factor is sample k of the sound.
        self._whole: Floats = np.zeros((2, self._signal.past // 2))
        self._powers: Floats = np.empty((0, len(self._signal.bins_hz)))
        self._peaks: Floats = np.empty((3, 0))  # of the first of the frames, as far as they were asked for
        self._first = 0  # frame where both begin
        self._next_look = LOOK_FRAMES
        self._is_empty = True
        self._before: tuple[float, int] | None = None  # pitch and end of the note before
        self._section: tuple[int, int] | None = None  # the last one, in samples since the origin

    def name_by(self, settings: LowEndSettings) -> None:
        """From now on name all notes, those that were found too, by these."""
        self._settings = settings
        self._ended = [by_concert_pitch(note, settings) for note in self._ended]
        self._cents = [note.cents for note in self._ended]
        self._named = (None, ())

    # --- what comes in

    def process(self, samples: Floats, first_index: int) -> None:
        """Take what comes next. See `LowEndAnalysis.process`."""
        if self._is_empty and len(samples):
            self._begin(first_index)
            self._is_empty = False
        self._take(samples)

    def _take(self, samples: Floats) -> None:
        came = middle_and_side(samples)
        self._whole = np.concatenate([self._whole, came], axis=1)
        lowered = self._signal.lower(came)
        if lowered.shape[1] == 0:
            return
        self._sound = np.concatenate([self._sound, lowered], axis=1)
        hop, window = self._signal.hop, self._signal.window
        have = len(self._powers)
        count = max((self._sound.shape[1] - window) // hop + 1 - have, 0) // 4 * 4
        if count:
            new = self._signal.powers(self._sound[:, have * hop :], count)
            self._powers = np.concatenate([self._powers, new])
        while self._first + len(self._powers) >= self._next_look:
            self._look(self._next_look, is_last=False)
            self._next_look += LOOK_FRAMES

    def gap(self) -> None:
        """End what is open."""
        if self._is_empty:
            return
        # Silence brings the rest out of the filters and ends the last note.
        silence = self._clock.count(0.6)
        self._take(np.zeros((silence, 2)))
        self._look(self._first + len(self._powers), is_last=True)
        self._is_empty = True

    def flush(self) -> None:
        """The pass has ended."""
        self.gap()
        self._settle()

    # --- from frames to sections

    def _look(self, until: int, *, is_last: bool) -> None:
        """Find the notes that have ended before a frame."""
        powers = self._powers[: until - self._first]
        if len(powers) == 0:
            return
        pitches = self._pitches(len(powers))
        tracks = tracks_of(pitches, powers, self._signal.bins_hz)
        n = len(powers)
        done = 0
        for number, track in enumerate(tracks):
            is_over = track.stop <= n - SETTLED_FRAMES or track.stop - track.first >= LONGEST_FRAMES
            if not (is_over or is_last):
                break
            later = tracks[number + 1] if number + 1 < len(tracks) else None
            self._put(track, later, pitches, powers)
            done = track.stop
        else:
            done = max(done, n - SETTLED_FRAMES - CONTEXT_FRAMES) if not is_last else n
        open_from = next((track.first for track in tracks if track.first >= done), n)
        done = max(done, min(open_from - CONTEXT_FRAMES, n - SETTLED_FRAMES)) if not is_last else n
        self._note_heard(pitches, done)
        self._forget(done)

    def _pitches(self, frames: int) -> Pitches:
        """Of the first frames; each is looked at once."""
        known = self._peaks.shape[1]
        if known < frames:
            new = peaks_of(self._powers[known:], self._signal.bins_hz)
            self._peaks = np.concatenate([self._peaks, new], axis=1)
        return pitches_of(self._peaks[:, :frames])

    def _forget(self, frames: int) -> None:
        if frames <= 0:
            return
        if self._before is not None:
            self._before = self._before[0], self._before[1] - frames * self._signal.hop
        self._first += frames
        self._powers, self._peaks = self._powers[frames:], self._peaks[:, frames:]
        # Onsets may lie in the window of an earlier frame.
        self._sound = self._sound[:, frames * self._signal.hop :]
        self._whole = self._whole[:, frames * self._signal.hop * self._signal.factor :]

    def _put(self, track: Track, later: Track | None, pitches: Pitches, powers: Floats) -> None:
        """The sections of a track wait for their fit."""
        rate_hz = self._signal.rate_hz
        low, high = 0, self._end_of(len(powers))
        if self._before is not None and self._before[1] > low:
            low = self._before[1]
        if later is not None:
            high = self._boundary(track, later, pitches)
        self._before = track.cents, high
        sound = self._sound[:, low:high]
        energies = np.vecdot(sound, sound).tolist()
        chosen = int(energies[1] > energies[0])
        first, last = self._centre(track.first), self._centre(track.stop - 1)
        hz = track.hz
        turn = turning(-2.0 * np.pi * hz / rate_hz, sound.shape[1])
        sections = sections_of(
            sound[chosen], rate_hz=rate_hz, hz=hz, first=first - low, last=last - low, turn=turn
        )
        if not sections:
            return
        harmonics = self._harmonics(track, powers)
        both = sum(energies) / max(energies[chosen], 1e-30)
        for start, stop in sections:
            piece = piece_of(sound[chosen, start:stop], rate_hz=rate_hz, hz=hz, turn=turn)
            if piece is None or self._is_wobble(low + start, low + stop):
                continue
            self._waiting.append(
                _Found(
                    at_s=self._at_s(low + start),
                    seconds=(stop - start) / rate_hz,
                    piece=piece,
                    both=both,
                    harmonics=harmonics,
                    whole=self._with_harmonics(chosen, low + start, low + stop),
                )
            )
        if len(self._waiting) >= MOST_WAITING:
            self._settle()

    def _is_wobble(self, start: int, stop: int) -> bool:
        """Whether a short section follows on a short one."""
        hop, rate_hz = self._signal.hop, self._signal.rate_hz
        here = self._first * hop + start, self._first * hop + stop
        before, self._section = self._section, here
        if before is None:
            return False
        is_short = max(stop - start, before[1] - before[0]) < SHORT_S * rate_hz
        return is_short and here[0] - before[1] < RUN_S * rate_hz

    def _boundary(self, track: Track, later: Track, pitches: Pitches) -> int:
        """Where a note gives way to the next, in samples of the sound."""
        if later.first - track.stop > LEGATO_FRAMES:
            return self._centre(later.first) - self._signal.window // 2
        between = pitches.cents[track.stop - 1 : later.first].tolist()
        own, next_one = track.cents, later.cents
        nearer = (k for k, cents in enumerate(between) if abs(cents - next_one) < abs(cents - own))
        return self._centre(track.stop - 1 + next(nearer, len(between))) - self._signal.hop // 2

    def _harmonics(self, track: Track, powers: Floats) -> tuple[float, float]:
        """Power at twice and three times the pitch against it; told only where some of it is under 40 Hz."""
        if track.hz > UNDER_HZ + 1.0:
            return 0.0, 0.0
        bins_hz = self._signal.bins_hz
        frames = powers[track.first : track.stop]

        def at(times: int) -> float:
            place = round((times * track.hz - bins_hz[0]) / (bins_hz[1] - bins_hz[0]))
            return middle_of(frames[:, place]) if place < len(bins_hz) else 0.0

        own = max(at(1), 1e-30)
        return at(2) / own, at(3) / own

    def _with_harmonics(self, chosen: int, start: int, stop: int) -> Floats:
        """Samples [start, stop) of the sound, middle or side, before its rate was lowered."""
        first, last = start * self._signal.factor, stop * self._signal.factor
        last = min(last, first + self._clock.count(LONGEST_S))
        return self._whole[chosen, first:last].copy()

    def _centre(self, frame: int) -> int:
        return frame * self._signal.hop + self._signal.window // 2

    def _end_of(self, frames: int) -> int:
        return (frames - 1) * self._signal.hop + self._signal.window

    def _at_s(self, sample: float) -> float:
        """Time of a sample of the sound that is kept."""
        since = self._first * self._signal.hop + sample
        return self._clock.at_s(self._origin + since * self._signal.factor) - self._signal.delay_s

    def _note_heard(self, pitches: Pitches, done: int) -> None:
        if done <= 0:
            return
        heard = pitches.is_heard[:done]
        edges = ((heard[1:] != heard[:-1]).nonzero()[0] + 1).tolist()
        edges = [*([0] if heard[0] else []), *edges, *([done] if heard[-1] else [])]
        for first, stop in zip(edges[::2], edges[1::2], strict=True):
            at_s, until_s = self._at_s(self._centre(first)), self._at_s(self._centre(stop - 1))
            power = float(np.add.reduce(pitches.power[first:stop])) / (stop - first)
            last = self._heard[-1] if self._heard else None
            if last is not None and at_s - last.until_s < 0.03:
                at_s, power = last.at_s, max(last.power, power)
                self._heard.pop()
            self._heard.append(_Heard(at_s=at_s, until_s=until_s, power=power))

    # --- from sections to notes

    def _settle(self) -> None:
        """Fit what waits: notes, and what has no single pitch."""
        waiting, self._waiting = self._waiting, []
        heard, self._heard = self._heard, []
        notes: list[SubNote] = []
        if waiting:
            fits = fit([one.piece for one in waiting])
            notes = [note for k, one in enumerate(waiting) if (note := self._note(one, fits, k)) is not None]
        room = MOST_NOTES - len(self._ended)
        self._ended += notes[:room]
        self._cents += [note.cents for note in notes[:room]]
        self._unpitched += _without_notes(heard, [*self._ended[-200:]])[:room]

    def _note(self, found: _Found, fits: Fits, k: int) -> SubNote | None:
        """The note, named by the concert pitch alone; None where it has no single pitch."""
        is_drum = found.seconds < DRUM_S and fits.decay_db_s[k] > DRUM_DECAY_DB_S
        if not fits.uncertainty_cents[k] <= SURE_CENTS or not fits.believed[k] >= BELIEVED or is_drum:
            return None
        limit = SWING if abs(fits.rise[k]) < STEEP else 0.5 * SWING
        is_bare = found.seconds > LONG_S or fits.believed[k] > BARE  # else a kick may make it swing
        if is_bare and (fits.swing[k] > limit or fits.rise[k] > RISE):
            return None
        hz = float(fits.hz[k])
        apart = apart_cents(found.whole, rate_hz=self._clock.rate_hz, hz=hz)
        uncertainty_cents = float(np.hypot(fits.uncertainty_cents[k], INSIDE * apart))
        if apart > APART_CENTS or uncertainty_cents > SURE_CENTS:
            return None
        strengths = (1.0, *found.harmonics)
        under = sum(power for times, power in enumerate(strengths, 1) if times * hz < UNDER_HZ)
        level_db = amplitude_to_db(float(fits.amplitude[k])) + power_to_db(found.both)
        made = SubNote(
            at_s=found.at_s,
            seconds=found.seconds,
            hz=hz,
            midi=0,
            note="",
            cents=0.0,
            uncertainty_cents=uncertainty_cents,
            level_dbfs=level_db,
            share_under_40_hz=under / sum(strengths),
            beat_hz=0.0,
        )
        return by_concert_pitch(made, self._settings)

    # --- what is known

    def reading(self) -> NotesReading:
        """What is known now; changes nothing that is told."""
        self._settle()
        tuning = shared_tuning_cents(self._cents)
        told_tuning, told = self._named
        if len(told) != len(self._ended) or told_tuning != tuning:
            told = tuple(by_tuning(note, tuning or 0.0, self._settings) for note in self._ended)
            self._named = tuning, told
        now = self._held_now()
        return NotesReading(
            ended=told,
            now=None if now is None else by_tuning(now, tuning or 0.0, self._settings),
            unpitched=tuple(self._unpitched),
            tuning_cents=tuning,
        )

    def _held_now(self) -> SubNote | None:
        """The note that sounds in the newest frames."""
        if self._is_empty or len(self._powers) == 0:
            return None
        pitches = self._pitches(len(self._powers))
        tracks = tracks_of(pitches, self._powers, self._signal.bins_hz)
        if not tracks or tracks[-1].stop < len(self._powers) - FRESH_FRAMES:
            return None
        track, rate_hz = tracks[-1], self._signal.rate_hz
        low = 0 if self._before is None else max(self._before[1], 0)
        if len(tracks) > 1:
            low = max(low, self._boundary(tracks[-2], track, pitches))
        end = self._end_of(len(self._powers))
        sound = self._sound[:, low:end]
        energy = np.vecdot(sound, sound)
        chosen = int(energy[1] > energy[0])
        first, last = self._centre(track.first) - low, self._centre(track.stop - 1) - low
        sections = sections_of(sound[chosen], rate_hz=rate_hz, hz=track.hz, first=first, last=last)
        if not sections:
            return None
        start, stop = sections[-1]
        begin = max(start, stop - round(HELD_S * rate_hz))
        piece = piece_of(sound[chosen, begin:stop], rate_hz=rate_hz, hz=track.hz)
        if piece is None:
            return None
        found = _Found(
            at_s=self._at_s(low + start),
            seconds=(stop - start) / rate_hz,
            piece=piece,
            both=float(energy.sum() / max(energy[chosen], 1e-30)),
            harmonics=self._harmonics(track, self._powers),
            whole=self._with_harmonics(chosen, low + begin, low + stop),
        )
        note = self._note(found, fit([piece]), 0)
        return None if note is None else replace(note, is_open=True)


def _without_notes(heard: list[_Heard], notes: list[SubNote]) -> list[Unpitched]:
    """What is left of stretches when the notes are taken out of them."""
    made = []
    for one in heard:
        at_s = one.at_s
        inside = [note for note in notes if note.at_s < one.until_s and note.at_s + note.seconds > one.at_s]
        for note in sorted(inside, key=lambda note: note.at_s):
            made.append((at_s, note.at_s, one.power))
            at_s = max(at_s, note.at_s + note.seconds)
        made.append((at_s, one.until_s, one.power))
    return [
        Unpitched(at_s=at_s, seconds=until_s - at_s, level_dbfs=power_to_db(power))
        for at_s, until_s, power in made
        if until_s - at_s >= LEAST_UNPITCHED_S
    ]
