"""A set while it is played: what was over and when, how much room is left, what fell silent, what jumped.

It takes soundings as they come, and remembers no more than is asked of it: ten minutes by the second and a
quarter of an hour of S, whether the set lasts for one hour or for eight.
"""

from __future__ import annotations

import math
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

from meter.dsp.flat_tops import FEWEST_FLAT, LONG_FRAMES
from meter.live_pass import LivePass
from meter.readings import LONG_ROWS
from meter.soundings import AFTER_GAP, CUT_SHORT, SOUNDINGS_A_SECOND, Soundings
from meter.time_over import EARLY_S, TimeOver, are_over
from meter.tunes.level import QUIET_LUFS
from meter.tunes.live import Jump, LiveJumps
from meter.units import Floats, amplitude_to_db, lufs_to_power, power_to_lufs

ROOM_S: Final = 60
"""Room is what the highest peak of so long leaves."""

CLIPPED_S: Final = 10
"""Flat tops are counted over so long."""

FULL_SCALE_DBFS: Final = -0.1
"""What is flat at this level or above was clipped here, or at the end of the way; below it, before us."""

MUSIC_S: Final = 10.0
"""Silence is an alarm after so much music. This and `DEAD_AIR_S` are common practice, no source."""

DEAD_AIR_S: Final = 3.0
"""So much silence after music is no pause in it: a stop in bass music is a bar or two of 1.4 s."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropout:
    """A drop-out of the sound: when it was told, in seconds of the set, and its length."""

    at_s: float
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SetNow:
    """What is known of a set now. ``None`` = not yet.

    Attributes
    ----------
    seconds : float
        By the clock of the set up to the newest sounding, lost and held time included.
    still_s : float
        For how many whole seconds nothing has come since; 0 while it is heard.
    heard_s, over_s, recent_heard_s, recent_over_s : int
        As `meter.time_over.TimeOver` has them.
    overs : int
        Overs that began in it.
    last_over_s : float or None
        When the true peak was over the limit at last.
    highest_dbtp : float or None
        Highest true peak of the newest minute; None in silence.
    limit_dbtp : float
        What the user allows.
    silent_s : float
        How long it has been silent.
    music_s : float
        How much music there was so far.
    dropouts : int
    last_dropout : Dropout or None
    flat_tops : int
        Of the newest 10 s, when they are those of a clipper below full scale; else 0.
    flat_at_dbfs : float or None
        At which level.
    jump : Jump or None
        The newest.
    """

    seconds: float = 0.0
    still_s: float = 0.0
    heard_s: int = 0
    over_s: int = 0
    recent_heard_s: int = 0
    recent_over_s: int = 0
    overs: int = 0
    last_over_s: float | None = None
    highest_dbtp: float | None = None
    limit_dbtp: float = 0.0
    silent_s: float = 0.0
    music_s: float = 0.0
    dropouts: int = 0
    last_dropout: Dropout | None = None
    flat_tops: int = 0
    flat_at_dbfs: float | None = None
    jump: Jump | None = None

    @property
    def over_pct(self) -> float | None:
        """Share of the seconds of the set that were over."""
        return 100.0 * self.over_s / self.heard_s if self.heard_s else None

    @property
    def recent_over_pct(self) -> float | None:
        """The same of the newest 10 min."""
        return 100.0 * self.recent_over_s / self.recent_heard_s if self.recent_heard_s else None

    @property
    def over_age_s(self) -> float | None:
        """How long ago it was over at last."""
        return None if self.last_over_s is None else self.age_s(self.last_over_s)

    def age_s(self, at_s: float) -> float:
        """How long ago a second of the set was, also while nothing comes."""
        return max(self.seconds + self.still_s - at_s, 0.0)

    @property
    def room_db(self) -> float | None:
        """From the highest true peak of the newest minute to the limit; below 0 it is over.

        None also when nothing came in that minute.
        """
        if self.highest_dbtp is None or self.still_s >= ROOM_S:
            return None
        return self.limit_dbtp - self.highest_dbtp

    @property
    def is_dead_air(self) -> bool:
        """Whether it fell silent after music."""
        return self.music_s >= MUSIC_S and self.silent_s >= DEAD_AIR_S


class SetWatch:
    """Follows a set from sounding to sounding; one thread feeds it, any thread reads `now`.

    A set goes on over silence, gaps and passes of the same source, and begins anew with another source or
    after `begin_anew`.

    Parameters
    ----------
    clock : callable
        Seconds that only grow; for what goes on while nothing comes.

    Attributes
    ----------
    now : SetNow
        Rebound with each sounding.
    """

    def __init__(self, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._taken_at_s = clock()
        self._wants_anew = False
        self._pass: LivePass | None = None
        self._begin()

    def look(self, *, has_ended: bool = False) -> SetNow:
        """What is known at this moment: while nothing comes, what was becomes older. Any thread."""
        now = self.now
        still_s = math.floor(self._clock() - self._taken_at_s)
        return now if has_ended or still_s < 1 else replace(now, still_s=float(still_s))

    def begin_anew(self) -> None:
        """The next pass begins another set; any thread."""
        self._wants_anew = True

    def _begin(self) -> None:
        self.now = SetNow()
        self._wants_anew = False
        self._began_unix_s = self._pass_at_s = self._end_s = 0.0
        self._time_over = TimeOver()
        self._jumps = LiveJumps()
        self._overs = self._dropouts = 0
        self._last_over_s: float | None = None
        self._last_dropout: Dropout | None = None
        self._silent_s = self._music_s = 0.0
        self._second = -1
        self._peaks: deque[float] = deque(maxlen=ROOM_S)  # of each second, the open one last
        self._flat: deque[tuple[int, int, float]] = deque(maxlen=CLIPPED_S)  # count, longest, amplitude
        self._powers: deque[float] = deque(maxlen=LONG_ROWS)
        self._sample_peak = 0.0

    # --- taking

    def take(self, rows: Soundings, live_pass: LivePass) -> None:
        """Take the next soundings of a pass. Quick, but for some ms every 10 s.

        Parameters
        ----------
        rows : ndarray of `SOUNDING`
        live_pass : LivePass
            Whose they are; its limit is that of these rows.
        """
        if len(rows) == 0:
            return
        if live_pass is not self._pass:
            self._turn_to(live_pass)
        rate_hz, limit_dbtp = live_pass.rate_hz, live_pass.over_limit_dbtp
        self._time_over.take(rows, start_s=self._pass_at_s, rate_hz=rate_hz, limit_dbtp=limit_dbtp)
        start_s = self._pass_at_s + rows["start_frame"] / rate_hz
        channels = len(live_pass.weights)
        powers = rows["k_power"][:, :channels] @ live_pass.weights
        columns = (
            start_s.tolist(),
            (rows["frames"] / rate_hz).tolist(),
            rows["flags"].tolist(),
            powers.tolist(),
            rows["true_peak"].max(axis=1).tolist(),
            are_over(rows, limit_dbtp).tolist(),
            rows["sample_peak"].max(axis=1).tolist(),
            rows["flat_tops"].tolist(),
            rows["flat_frames"].tolist(),
        )
        for one in zip(*columns, strict=True):
            self._add(*one)
        self._overs += int(rows["overs"].sum())
        self._take_dropouts(rows, start_s, rate_hz)
        self._publish(limit_dbtp)

    def _turn_to(self, live_pass: LivePass) -> None:
        """A pass begins: of this set or of another one."""
        before, self._pass = self._pass, live_pass
        if self._wants_anew or (before is not None and before.info.spec != live_pass.info.spec):
            self._begin()
            before = None
        if before is None:
            self._began_unix_s = live_pass.began_unix_s
        self._pass_at_s = max(live_pass.began_unix_s - self._began_unix_s, self._end_s)

    def _add(
        self,
        start_s: float,
        seconds: float,
        flags: int,
        power: float,
        true_peak: float,
        is_over: bool,
        sample_peak: float,
        flat_tops: int,
        flat_frames: int,
    ) -> None:
        second = math.floor(start_s + EARLY_S)
        if second > self._second:
            self._turn(second)
        self._end_s = start_s + seconds
        self._peaks[-1] = max(self._peaks[-1], true_peak)
        if is_over:
            self._last_over_s = self._end_s
        if flat_tops:
            count, longest, level = self._flat[-1]
            # They began up to 50 ms earlier.
            level = max(level, sample_peak, self._sample_peak)
            self._flat[-1] = count + flat_tops, max(longest, flat_frames), level
        self._sample_peak = sample_peak
        if power < _QUIET_POWER:
            self._silent_s += seconds
        else:
            self._silent_s = 0.0
            self._music_s += seconds
        if flags & (AFTER_GAP | CUT_SHORT):
            self._powers.clear()
        if not flags & CUT_SHORT:
            self._powers.append(power)

    def _turn(self, second: int) -> None:
        """The open second is over; those that follow without a sounding are empty."""
        if self._second >= 0:
            is_whole = len(self._powers) == LONG_ROWS
            self._jumps.take(power_to_lufs(math.fsum(self._powers) / LONG_ROWS) if is_whole else math.nan)
            skipped = second - self._second - 1
            if skipped > 0:
                self._jumps.skip(skipped)
            for _ in range(min(skipped, ROOM_S)):
                self._peaks.append(0.0)
                self._flat.append(_NOT_FLAT)
        elif second > 0:
            self._jumps.skip(second)
        self._second = second
        self._peaks.append(0.0)
        self._flat.append(_NOT_FLAT)

    def _take_dropouts(self, rows: Soundings, start_s: Floats, rate_hz: float) -> None:
        found = rows["dropouts"]
        if not found.any():
            return
        self._dropouts += int(found.sum())
        at = int(found.nonzero()[0][-1])
        self._last_dropout = Dropout(
            at_s=float(start_s[at]) + 1.0 / SOUNDINGS_A_SECOND,
            seconds=int(rows["dropout_frames"][at]) / int(found[at]) / rate_hz,
        )

    # --- what is known

    def _publish(self, limit_dbtp: float) -> None:
        counted, peak = self._time_over, max(self._peaks)
        flat_tops, flat_at_dbfs = self._clipped()
        self._taken_at_s = self._clock()
        self.now = SetNow(
            seconds=self._end_s,
            heard_s=counted.heard_s,
            over_s=counted.over_s,
            recent_heard_s=counted.recent_heard_s,
            recent_over_s=counted.recent_over_s,
            overs=self._overs,
            last_over_s=self._last_over_s,
            highest_dbtp=amplitude_to_db(peak) if peak > 0.0 else None,
            limit_dbtp=limit_dbtp,
            silent_s=self._silent_s,
            music_s=self._music_s,
            dropouts=self._dropouts,
            last_dropout=self._last_dropout,
            flat_tops=flat_tops,
            flat_at_dbfs=flat_at_dbfs,
            jump=self._jumps.jump,
        )

    def _clipped(self) -> tuple[int, float | None]:
        """Flat tops of the newest 10 s that are those of a clipper below full scale, and their level."""
        count = sum(one[0] for one in self._flat)
        longest = max(one[1] for one in self._flat)
        level_dbfs = amplitude_to_db(max(one[2] for one in self._flat))
        is_clipper = count >= FEWEST_FLAT or longest >= LONG_FRAMES
        return (count, level_dbfs) if is_clipper and level_dbfs < FULL_SCALE_DBFS else (0, None)


_NOT_FLAT: Final = (0, 0, 0.0)
_QUIET_POWER: Final = lufs_to_power(QUIET_LUFS)
