"""What the window says besides its lanes: its status line, and what stands there when there is nothing."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

from meter.capture.records import SourceInfo, SourceStatus
from meter.now import Now
from meter.sentence import sentence
from meter.sentence_kinds import Kind
from meter.targets import Limit, value_text

NOTHING_LOST: Final = "0 frames lost"

_A_FILE: Final = re.compile(r"[^\s:]*[/\\]|[a-zA-Z]:|[^:]*\.[a-z]\w{1,4}: |\S+\.[a-z]\w{1,4} ", re.I)
"""How a sentence begins that begins with a path, or with the name of a file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    """The parts of the status line; None = nothing to say.

    Attributes
    ----------
    form : str or None
        Rate and channels.
    lost : str
        Frames lost in this pass.
    load : str or None
        Processor time of the whole program.
    volume : str or None
        The system volume that the sound has gone through.
    """

    form: str | None
    lost: str
    load: str | None
    volume: str | None


def status(now: Now, load_pct: float | None) -> Status:
    """The status line.

    Parameters
    ----------
    now : Now
    load_pct : float or None
        Processor time in percent of one core.
    """
    form = None
    if now.rate_hz is not None and now.channels is not None:
        channels = {1: "mono", 2: "stereo"}.get(now.channels, f"{now.channels} channels")
        form = f"{now.rate_hz / 1000:g} kHz {channels}"
    load = None if load_pct is None else f"{load_pct:.1f} % of one core"
    return Status(form=form, lost=_lost(now), load=load, volume=_volume(now))


def _lost(now: Now) -> str:
    frames = 0 if now.reading is None else now.reading.lost_frames
    if frames == 0 or now.rate_hz is None:
        return NOTHING_LOST
    seconds = frames / now.rate_hz
    return f"{frames} frames lost ({seconds:.3g} s)"


def _volume(now: Now) -> str | None:
    state = now.state
    if state.is_muted:
        return "system muted"
    if state.volume_db is None:
        return None
    if state.volume_db == -math.inf:
        return "system volume at zero"
    shown = value_text(state.volume_db, limit=Limit(min=0.0, max=0.0), plus=True)
    return f"system volume {shown.replace('-', '−')} dB"


@dataclass(frozen=True, slots=True, kw_only=True)
class Empty:
    """What stands where the lanes have nothing to draw.

    Attributes
    ----------
    title : str
        What is the matter, in a few words.
    text : str
        More of it, and what to do.
    offers_demo, offers_source : bool
        Whether listening to the demo, or choosing a source, would help.
    """

    title: str
    text: str
    offers_demo: bool = False
    offers_source: bool = False


def empty_state(now: Now) -> Empty | None:
    """What to show while nothing has been heard yet; None when there is no need to help.

    Once something was heard the lanes keep it, and the sentence says what is the matter.
    """
    found = sentence(now)
    said = found.text
    if now.problem is not None:
        return Empty(title="This cannot be measured", text=_whole(said, now), offers_source=True)
    status_now = now.state.status
    if status_now is SourceStatus.OPENING:
        return Empty(title="Opening the source", text=_whole(said, now))
    if status_now is SourceStatus.LOST:
        return Empty(title="The source is lost", text=_whole(said, now), offers_source=True)
    if status_now is SourceStatus.ENDED:
        title = "No source" if said.startswith("no") else "The source has ended"
        text = said.removeprefix("no source: ")
        return Empty(title=title, text=_whole(text, now), offers_demo=True, offers_source=True)
    if found.kind is Kind.HELD:
        return Empty(title="Held", text=_whole(said, now))
    if found.kind in (Kind.MUTED, Kind.VOLUME):
        return Empty(title=_volume_title(now), text=_whole(said, now))
    if found.kind is Kind.SILENCE:
        is_system = now.state.info.spec == "system"
        title = "Nothing is playing" if is_system else "It is silent"
        text = said.removeprefix(f"{title.lower()}: ")
        return Empty(title=title, text=_whole(text, now), offers_demo=is_system, offers_source=True)
    return None


def _volume_title(now: Now) -> str:
    words = _volume(now) or "system muted"
    return f"The {words}" if words.startswith("system volume at") else capital(words)


def _whole(said: str, now: Now) -> str:
    """A sentence that stands alone: with its capital and full stop."""
    return capital(said, now.state.info) + ("" if said.endswith((".", "!", "?")) else ".")


_IN_THE_WINDOW: Final = (
    ("`leadline together KICK SUB`", "“Kick and sub together” (Ctrl+K)"),
    ("--kick-band, in the window Ctrl+L", "Ctrl+L"),
)


def for_window(said: str) -> str:
    """The same with the keys of the window in place of what is written in a terminal."""
    for words, keys in _IN_THE_WINDOW:
        said = said.replace(words, keys)
    return said


def together(*sentences: str | None) -> str:
    """Those there are, each with its capital and in a line of its own; empty for none."""
    return "\n".join(capital(one) for one in sentences if one)


OURS: Final = ("system", "demo")
"""Sources that have no name but ours."""


def capital(said: str, info: SourceInfo | None = None) -> str:
    """With a capital at the beginning, unless it begins with the name of a file or of this device."""
    if info is not None and info.spec not in OURS and said.startswith(info.name):
        return said
    if _A_FILE.match(said):
        return said
    return said[:1].upper() + said[1:]
