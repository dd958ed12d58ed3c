"""What the engine's thread does, step by step: ring -> chain -> soundings. Without the thread, for tests."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from meter.capture.records import SourceState, SourceStatus
from meter.capture.ring import Reader
from meter.capture.source import Source
from meter.errors import MeterError
from meter.listener import Listener
from meter.live_measuring import How, Measuring
from meter.live_pass import LivePass
from meter.now import Now, is_withheld
from meter.pace import LONGEST_S, Pace
from meter.ring_follower import RingFollower
from meter.soundings import Reading, Soundings
from meter.targets import LiveVerdicts, Target, Verdict

HOPS_A_STEP: Final = 64
"""So that commands are heard while a file comes as fast as it can."""

PATIENT_SOUNDINGS: Final = 5
"""So many are measured at once while nobody waits for what is new: they take a third as long. A kill may
lose so much more."""

SOON_S: Final = 0.02

SKIPPED_FRAMES: Final = 4096
"""Read at once where nothing can be measured."""


class Worker:
    """Takes what a source brings and measures it; all calls from one thread.

    Parameters
    ----------
    source : Source
        Started.
    target : Target, optional
        Its true-peak limit is where overs begin; full scale without one.
    crossover_hz : float
        Upper end of the low end, 40 to 300 Hz.
    seconds : float, optional
        End after so much sound, lost and held sound included.
    on_soundings, on_pass : callable, optional
        As `meter.engine.Engine` has them.

    Attributes
    ----------
    now : Now
        Rebound whenever something is new; any thread may read it.
    source : Source
        What is listened to.
    """

    def __init__(
        self,
        source: Source,
        *,
        target: Target | None = None,
        crossover_hz: float = 120.0,
        seconds: float | None = None,
        on_soundings: Callable[[Soundings], None] | None = None,
        on_pass: Callable[[LivePass], None] | None = None,
    ) -> None:
        self.source = source
        self._target = target
        self._crossover_hz = crossover_hz
        self._left_s = seconds
        self._left_frames: int | None = None
        self._soundings_listener = Listener[Soundings]("soundings", on_soundings)
        self._pass_listener = Listener[LivePass]("passes", on_pass)
        self._measuring: Measuring | None = None
        self._next_number = 1
        self._told_frames = 0  # lost by this source, in the rings before this one
        self._state = source.state()
        self._reading: Reading | None = None
        self._verdicts: Mapping[str, Verdict] = {}
        self._problem: str | None = None
        self._is_held = self._has_ended = False
        self._follower = RingFollower(lambda: self.source, from_now=False)
        self._pace = Pace()
        self._is_patient = False
        self._begin()

    # --- one step

    def step(self) -> float:
        """Take what has come.

        Returns
        -------
        float
            Seconds after which the next step is worth while.
        """
        if self._has_ended:
            return LONGEST_S
        # Asked first: what an ended source has brought is all in the ring by then.
        state = self.source.state()
        is_other = state is not self._state and self._take_state(state)
        wanted = 0 if self._measuring is None else self._measuring.room_frames
        for _ in range(HOPS_A_STEP):
            if self._is_over() or not (come := self._take_next()):
                break
            wanted -= come
            if state.status is SourceStatus.RUNNING and self._is_empty():
                break  # a gap behind the last frame is told with the next ones
        if self._is_over():
            self.finish()
        elif state.status is SourceStatus.ENDED and self._is_empty():
            self._lose_the_end(state.lost_frames)
            self.finish()
        elif is_other:
            self._publish()
        return self._wait_s(is_met=wanted <= 0)

    def _take_state(self, state: SourceState) -> bool:
        """Whether it says something else."""
        before, self._state = self._state, state
        if state == before:
            return False
        if self._measuring is not None:
            self._measuring.is_withheld = is_withheld(state)
        self._judge()
        return True

    def _take_next(self) -> int:
        """Take what comes next in the ring; how many frames, lost ones included, or 1 for another ring."""
        measuring = self._measuring
        room = SKIPPED_FRAMES if measuring is None else measuring.room_frames
        chunk = self._follower.read(self._of_the_rest(room))
        if chunk is None:
            self._turn()
            return 1
        if measuring is not None and chunk.lost_before:
            lost = self._of_the_rest(chunk.lost_before)
            measuring.lose(lost)
            self._count(lost)
            self._publish()
        if measuring is not None and len(chunk.frames):
            frames = chunk.frames[: self._of_the_rest(len(chunk.frames))]
            measuring.take(frames)
            self._count(len(frames))
        return len(chunk.frames) + chunk.lost_before

    def _lose_the_end(self, lost_frames: int) -> None:
        """What the source counts as lost and has not put into the ring: the missing end of a file."""
        untold = lost_frames - self._told_frames - (self.reader.lost_frames - self.reader.overtaken_frames)
        if self._measuring is not None and untold > 0:
            self._measuring.lose_the_end(untold)

    def _is_empty(self) -> bool:
        return self.reader.behind_frames == 0 and self.source.ring is self._follower.ring

    def _wait_s(self, *, is_met: bool) -> float:
        measuring = self._measuring
        if measuring is None:
            return LONGEST_S
        wanted = measuring.room_frames
        if self.reader.behind_frames >= wanted:
            return 0.0
        if self._is_patient:
            return max(wanted / measuring.rate_hz, SOON_S)
        return self._pace.wait_s(wanted / measuring.rate_hz, is_met=is_met)

    # --- how much is left of the time that was asked for

    def _of_the_rest(self, frames: int) -> int:
        return frames if self._left_frames is None else min(frames, self._left_frames)

    def _count(self, frames: int) -> None:
        if self._left_frames is not None:
            self._left_frames -= frames

    def _is_over(self) -> bool:
        return self._left_frames is not None and self._left_frames <= 0

    # --- rings

    @property
    def reader(self) -> Reader:
        """The reader of the ring that is being read."""
        return self._follower.reader

    def _begin(self) -> None:
        """Begin to measure the ring of now."""
        ring = self._follower.ring
        if self._left_s is not None:
            self._left_frames = round(self._left_s * ring.rate_hz)
        self._reading, self._verdicts, self._problem = None, {}, None
        self._measuring = None
        try:
            self._measuring = Measuring(
                rate_hz=ring.rate_hz,
                channels=ring.channels,
                info=self._state.info,
                how=self._how(),
                number=self._next_number,
                on_rows=self._take_rows,
                on_pass=self._pass_listener.tell,
                ring_number=ring.number,
            )
            self._measuring.hold(self._is_held)
            self._measuring.set_at_once(PATIENT_SOUNDINGS if self._is_patient else 1)
            self._measuring.is_withheld = is_withheld(self._state)
        except MeterError as error:
            self._problem = str(error)
        self._publish()

    def _how(self) -> How:
        return How(
            weights=self.source.weights,
            crossover_hz=self._crossover_hz,
            over_limit_dbtp=self._over_limit_dbtp(),
        )

    def _over_limit_dbtp(self) -> float:
        return 0.0 if self._target is None else self._target.true_peak_limit_dbtp

    def _turn(self) -> None:
        """The source goes on in another ring: with another pass, and nothing of this one in it."""
        self._state = self.source.state()
        if self._left_frames is not None:
            self._left_s = self._left_frames / self._follower.ring.rate_hz
        self._end_measuring()
        self._told_frames += self.reader.lost_frames - self.reader.overtaken_frames
        self._follower.turn()
        self._begin()

    def _end_measuring(self) -> None:
        if self._measuring is not None:
            self._measuring.end()
            ended = self._measuring.live_pass
            self._next_number = ended.number + (len(ended.store) > 0)

    # --- what comes out

    @property
    def live_pass(self) -> LivePass | None:
        """The pass that is being made."""
        return None if self._measuring is None else self._measuring.live_pass

    def _take_rows(self, rows: Soundings, reading: Reading) -> None:
        self._reading = reading
        self._judge()
        self._publish()
        self._soundings_listener.tell(rows)

    def _judge(self) -> None:
        target, reading = self._target, self._reading
        if target is None or reading is None or is_withheld(self._state):
            self._verdicts = {}
        else:
            self._verdicts = LiveVerdicts(target, reading)

    def _publish(self) -> None:
        ring, measuring = self._follower.ring, self._measuring
        known: dict[str, Any] = {}
        if measuring is not None:
            known = {
                "recent": measuring.recent,
                "eye": measuring.eye,
                "over_limit_dbtp": measuring.over_limit_dbtp,
                "last_over": measuring.last_over,
                "highest_over": measuring.highest_over if self._has_ended else None,
                "last_gap": next(reversed(measuring.live_pass.gaps), None),
                "pass_number": measuring.live_pass.number,
            }
        self.now = Now(
            state=self._state,
            rate_hz=ring.rate_hz,
            channels=ring.channels,
            reading=self._reading,
            verdicts=self._verdicts,
            target=self._target,
            crossover_hz=self._crossover_hz,
            is_held=self._is_held,
            has_ended=self._has_ended,
            problem=self._problem,
            **known,
        )

    # --- what the user asks for; call `step` before, so that it holds from now on and not from earlier

    def slow_down(self, on: bool) -> None:
        """Look seldom, because nobody waits for what is new; or at once, from now on."""
        self._is_patient = on
        if self._measuring is not None:
            self._measuring.set_at_once(PATIENT_SOUNDINGS if on else 1)

    def hold(self, on: bool) -> None:
        """Measure nothing from here on, or go on."""
        self._is_held = on
        if self._measuring is not None and not self._has_ended:
            self._measuring.hold(on)
        self._publish()

    def mark(self) -> None:
        """End the pass here; a new one begins."""
        if self._measuring is not None and not self._has_ended:
            self._measuring.mark()
            self._reading, self._verdicts = None, {}
        self._publish()

    def set_target(self, target: Target | None) -> None:
        """Hold what is heard against another target; overs are counted from its limit at once."""
        self._target = target
        if self._measuring is not None:
            self._measuring.set_over_limit(self._over_limit_dbtp())
        self._judge()
        self._publish()

    def set_crossover(self, crossover_hz: float) -> None:
        """Measure the low end below another crossover, in a new pass; nothing where it is the same."""
        if crossover_hz == self._crossover_hz:
            return
        self._crossover_hz = crossover_hz
        if self._measuring is not None and not self._has_ended:
            self._measuring.set_crossover(crossover_hz)
            self._reading, self._verdicts = None, {}
        self._publish()

    def set_source(self, source: Source) -> None:
        """Listen to another source; the old one is stopped when the new one has started.

        Raises
        ------
        MeterError
            The new one cannot be listened to; the old one goes on.
        """
        source.start()
        old, self.source = self.source, source
        old.stop()
        ring = self._follower.ring
        while not (self._has_ended or self._is_over() or self._follower.ring is not ring):
            self._take_next()
        if self._has_ended:
            self._has_ended = False
            self._follower.turn()
            self._begin()
        self._told_frames = 0
        source.needs(self.reader)

    def finish(self) -> None:
        """End the last pass; nothing is measured until there is another source."""
        if not self._has_ended:
            self._end_measuring()
            self._has_ended = True
            self._publish()
