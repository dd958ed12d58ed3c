"""A timeline with the demo tune on it, or with another source, for pictures, benchmarks and tests."""

from __future__ import annotations

import threading

from meter.capture.open import open_source
from meter.engine import Engine
from meter.lanes import LANES, flags
from meter.moment import spoken
from meter.target_file import shipped_targets
from meter.timeline import Timeline


class Scene:
    """What a session knows after it has heard a source, as fast as it is read.

    Attributes
    ----------
    timeline : Timeline
    nows : list of (int, Now)
        What was known, and how many slots there were then, every `every_slots`.
    """

    def __init__(self, spec="demo", *, target_name="club", every_slots=50):
        self.target = None if target_name is None else shipped_targets()[target_name]
        self.timeline, self.nows = Timeline(), []
        ended = threading.Event()
        engine = Engine(
            open_source(spec, as_fast=True),
            target=self.target,
            on_soundings=lambda rows: self._note(engine, rows, every_slots),
            on_end=lambda _: ended.set(),
        )
        engine.start()
        ended.wait(300.0)
        engine.stop()

    def _note(self, engine, rows, every_slots):
        self.timeline.append(rows, engine.live_pass, engine.reading)
        slots = self.timeline.slots
        if slots // every_slots != (slots - len(rows)) // every_slots:
            self.nows.append((slots, engine.now))

    def now_at(self, slot):
        """What was known at a slot."""
        return next(now for slots, now in self.nows if slots >= slot)

    def dress(self, lanes_view, slot=None):
        """Show it in a `LanesView`, as it was at a slot, or at the end."""
        slot = self.nows[-1][0] if slot is None else slot
        now, shown = self.now_at(slot), Cut(self.timeline, slot)
        lanes_view.set_timeline(shown)
        lanes_view.set_lanes(LANES)
        lanes_view.set_target(self.target)
        found = {lane.key: flags(now, lane) for lane in LANES}
        lanes_view.set_flags(found)
        lanes_view.set_spoken({lane.key: spoken(self.timeline, lane, found[lane.key]) for lane in LANES})


class Cut:
    """A timeline as it was when it had so many slots; more can be let in."""

    def __init__(self, timeline, slots):
        self._timeline, self.slots = timeline, slots

    def __getattr__(self, name):
        return getattr(self._timeline, name)

    def values(self, key, first, last):
        """Nothing from `slots` on."""
        found = self._timeline.values(key, first, last)
        if last > self.slots:
            found = found.copy()
            found[max(self.slots - first, 0) :] = float("nan")
        return found
