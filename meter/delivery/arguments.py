"""What commands take from the command line about delivery: encoders, playback levels."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from meter.delivery.codecs import Wish
    from meter.standards.playback_levels import PlaybackLevel


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """What is to be told of delivery; nothing unless it is asked for.

    Attributes
    ----------
    encodes : tuple of Wish
        Encoders to try a master with.
    playback : tuple of PlaybackLevel
        Levels that players bring it to.
    turns_up : bool
        Whether they turn up what is quieter.
    """

    encodes: tuple[Wish, ...] = ()
    playback: tuple[PlaybackLevel, ...] = ()
    turns_up: bool = True


def add_delivery(command: argparse.ArgumentParser) -> None:
    """Add the options."""
    command.add_argument(
        "--encode",
        metavar="LIST",
        help="try it with encoders, such as aac:256,mp3:320,opus:128 (kb/s), and tell overs and trim",
    )
    command.add_argument(
        "--playback",
        metavar="LIST",
        help="how loud it plays back where players level: all, aes, ebu, replaygain, your own (-14)",
    )
    command.add_argument(
        "--no-turning-up", action="store_true", help="with --playback: players turn down only"
    )


def delivery_from(args: argparse.Namespace) -> Delivery:
    """What is meant by them; `UsageError` when nothing can be."""
    encodes: tuple[Wish, ...] = ()
    playback: tuple[PlaybackLevel, ...] = ()
    if args.encode is not None:
        from meter.delivery.codecs import wishes_from

        encodes = wishes_from(args.encode)
    if args.playback is not None:
        from meter.delivery.playback import levels_from

        playback = levels_from(args.playback)
    return Delivery(encodes=encodes, playback=playback, turns_up=not args.no_turning_up)
