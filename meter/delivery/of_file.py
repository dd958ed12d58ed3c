"""The encode check of one file: read again, and tried with each encoder, two side by side."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from contextlib import closing
from functools import partial
from typing import TYPE_CHECKING

from meter.delivery.codecs import EncodeError, Float32s, Wish, rate_for
from meter.delivery.encoded import LONGEST_S, Encoded, encode_check, look_at
from meter.delivery.progress import Tell, side_by_side
from meter.delivery.resample import Resampler, Room

if TYPE_CHECKING:
    from meter.audio_file import AudioFile
    from meter.check_part import Part

AT_ONCE = 2


def encodes_of(
    audio: AudioFile,
    part: Part,
    wishes: Sequence[Wish],
    *,
    ceiling_dbtp: float,
    integrated_lufs: float | None,
    at_once: int = AT_ONCE,
    tell: Tell | None = None,
) -> tuple[list[Encoded], list[str]]:
    """What each encoder makes of a file, and sentences on those that could not be tried.

    The sound is held once for each rate that it is encoded at; what encoders make of it is looked at as it
    comes.

    Parameters
    ----------
    at_once : int
        So many encoders at once, in threads.
    tell : callable, optional
        Called some times a second in the caller's thread; what it raises ends the work.
    """
    rates_hz = {rate_for(wish.codec, audio.rate_hz) for wish in wishes}
    try:
        there = _read(audio, part, rates_hz, tell)
    except EncodeError as error:
        return [], [f"it was not encoded: {error}"]

    def one(wish: Wish, note: Tell) -> Encoded | EncodeError:
        to_hz = rate_for(wish.codec, audio.rate_hz)
        try:
            return encode_check(
                there[to_hz],
                to_hz,
                wish,
                ceiling_dbtp=ceiling_dbtp,
                integrated_lufs=integrated_lufs,
                tell=note,
            )
        except EncodeError as error:
            return error

    works: list[Callable[[Tell], Encoded | EncodeError]] = [partial(one, wish) for wish in wishes]
    found = side_by_side(works, at_once=at_once, tell=tell)
    notes = [
        f"{wish.title}: {each}" for wish, each in zip(wishes, found) if isinstance(each, EncodeError)
    ]
    return [each for each in found if isinstance(each, Encoded)], notes


def _read(
    audio: AudioFile, part: Part, rates_hz: Iterable[int], tell: Tell | None
) -> dict[int, Float32s]:
    """All of it at each of these rates; refused before it is read where that can be told."""
    length_s = part.length_s(audio)
    look_at(length_s, audio.channels)
    rooms = {to_hz: Room(math.ceil((length_s or 0.0) * to_hz), audio.channels) for to_hz in rates_hz}
    others = {
        to_hz: Resampler(audio.rate_hz, to_hz, audio.channels) for to_hz in rooms if to_hz != audio.rate_hz
    }
    count = 0
    with closing(part.blocks(audio)) as blocks:
        for block in blocks:
            count += len(block)
            if count > LONGEST_S * audio.rate_hz:
                look_at(count / audio.rate_hz, audio.channels)
            for to_hz, room in rooms.items():
                for piece in others[to_hz].push(block) if to_hz in others else (block,):
                    room.add(piece)
            if tell is not None:
                tell("reading it again", 0.0)
    look_at(count / audio.rate_hz, audio.channels)
    for to_hz, resampler in others.items():
        rooms[to_hz].add(resampler.finish())
    return {to_hz: room.frames for to_hz, room in rooms.items()}
