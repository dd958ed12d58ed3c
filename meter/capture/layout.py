"""Which channels of an input are heard, and in which order they go to the measures.

Up to two channels are taken as they are. Three to six only when the sound system tells that
they are those of a film layout, put into the order that the loudness weights are counted in.
Of anything else nobody can know which channels are left and right: the user names the pair.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from meter.errors import SourceError

PAIR: Final = ("front-left", "front-right")

FILM: Final = {
    3: (*PAIR, "front-center"),
    4: (*PAIR, "surround-left", "surround-right"),
    5: (*PAIR, "front-center", "surround-left", "surround-right"),
    6: (*PAIR, "front-center", "lfe", "surround-left", "surround-right"),
}
"""Orders of `meter.standards.bs1770.default_weights`; "surround" is a rear or a side pair."""


def channels_to_take(
    name: str,
    channels: int,
    pair: tuple[int, int] | None,
    positions: Sequence[str] | None = None,
) -> tuple[int, ...]:
    """The channels to be heard, counted from 0, in the order of the measures.

    Parameters
    ----------
    name : str
        Of the source, for the sentence.
    channels : int
        How many it has, > 0.
    pair : tuple of two int, optional
        The user's choice, counted from 1.
    positions : sequence of str, optional
        Where each channel belongs, in PulseAudio's words; none where the system does not tell.

    Raises
    ------
    SourceError
        The pair is not there, or one must be chosen.
    """
    if pair is not None:
        return _chosen(name, channels, pair)
    if channels == 2 and positions is not None and set(positions) == set(PAIR):
        return tuple(positions.index(position) for position in PAIR)
    if channels <= 2:
        return tuple(range(channels))
    found = _film_order(positions) if positions is not None and len(positions) == channels else None
    if found is None:
        raise SourceError(
            f"{name} has {channels} channels, and which of them are left and right is not known; "
            "choose a pair, for example --channels 1,2"
        )
    return found


def _chosen(name: str, channels: int, pair: tuple[int, int]) -> tuple[int, ...]:
    first, second = pair
    if first == second or not all(1 <= channel <= channels for channel in pair):
        has = "1 channel" if channels == 1 else f"{channels} channels"
        advice = "leave --channels away" if channels < 3 else f"choose two of 1 to {channels}"
        raise SourceError(f"{name} has {has}, but --channels {first},{second} was asked for; {advice}")
    return first - 1, second - 1


def _film_order(positions: Sequence[str]) -> tuple[int, ...] | None:
    plain = [position.replace("rear-", "surround-").replace("side-", "surround-") for position in positions]
    wanted = FILM.get(len(plain))
    if wanted is None or sorted(plain) != sorted(wanted):
        return None
    return tuple(plain.index(position) for position in wanted)
