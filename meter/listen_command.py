"""`leadline listen`, and `leadline demo` without a screen: from the arguments to the exit status."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Final

from meter.arguments import add_crossover, add_low_end, crossover_from, low_end_from, pair_from
from meter.errors import UsageError

if TYPE_CHECKING:
    from meter.listening import Hearer, ScreenMaker
    from meter.low_end.settings import LowEndSettings
    from meter.set_settings import SetSettings
    from meter.targets import Target
    from meter.window_command import Window

DEMO_TARGET: Final = "club"

EPILOG: Final = """\
sources: system (what the machine plays), device:NAME, file:PATH, demo; "leadline sources" lists them.

Ctrl-C ends it and prints the summary of all that was heard. With --json there is one object a
line: "sounding" ten a second, "summary", and with --set a "set"; what is to be said of the source goes to
standard error.

What is heard live (system, device:NAME) is kept in the journal, pass by pass, without any audio:
"leadline journal" lists it. Files and the demo can be measured again at any time and are not kept.
With --set all that is heard is kept as one pass, a file or the demo too: silence between two tunes does
not end it, nor does what is lost. "leadline journal tunes" finds the tunes in it and how they follow.
Meanwhile it says when it was over at last, how much of the time, how much room there is, and whether the
last tune came in louder.

--serve offers what is known now as a page for a phone in the booth, and prints its address with the key of
this run. It cannot be changed from there, and is not encrypted. Only this machine reaches it unless --host
names the address of this machine that the phone reaches.

exit status: 0 done, also when it is ended with Ctrl-C before anything was heard; 2 unusable arguments, or
the source, or the time, ended before anything was heard.
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `listen` to the commands."""
    listen = commands.add_parser(
        "listen",
        help="measure what the machine plays, live",
        description="Measure what is playing, without a window: loudness, peaks, left and right, what is "
        "lost in mono,\nand the one most useful thing to know now.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    listen.add_argument(
        "--source", metavar="SPEC", default="system", help="what to listen to; system unless set"
    )
    listen.add_argument(
        "--channels", metavar="A,B", help="listen to these two channels as left and right, from 1"
    )
    listen.add_argument("--target", metavar="NAME", help="hold what is heard against this target")
    add_crossover(listen)
    add_low_end(listen)
    _add_common(listen)
    listen.add_argument(
        "--set", action="store_true", help="keep all of it as one pass, which silence and gaps do not end"
    )
    listen.add_argument(
        "--mixer-zero",
        metavar="DBFS",
        help="with --set: where your mixer reads 0, such as -18; levels are told against it; as the window "
        "remembers it unless set",
    )
    listen.add_argument("--no-journal", action="store_true", help="keep nothing of it")
    listen.add_argument(
        "--setup", metavar="NAME", help="tell the level at the ear too, an estimate; see `leadline hearing`"
    )
    listen.add_argument("--serve", action="store_true", help="offer a page for a second screen, a phone")
    listen.add_argument(
        "--host", metavar="ADDRESS", help="with --serve: at this address of the machine, not only for itself"
    )
    listen.add_argument("--port", metavar="N", help="with --serve: at this port; 0, any free one, unless set")
    listen.set_defaults(run=run)


def add_demo_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `demo` to the commands."""
    demo = commands.add_parser(
        "demo",
        help="listen to the demo tune, with its planted faults",
        description="Make the demo tune and listen to it against the target for clubs, in the window where "
        "one can be shown. It plays nothing.",
        epilog="exit status: 0 done, also when it is ended with Ctrl-C before anything was heard; with "
        "--at-once 1 when a reading does not agree with what was planted; 2 unusable arguments.",
        allow_abbrev=False,
    )
    demo.add_argument(
        "--at-once",
        action="store_true",
        help="measure it without waiting, and say whether each planted fault is read",
    )
    demo.add_argument("--no-window", action="store_true", help="as text, although a window could be shown")
    _add_common(demo)
    demo.set_defaults(run=run_demo)


def _add_common(parser: argparse.ArgumentParser) -> None:
    """Add what `listen` and `demo` have in common."""
    parser.add_argument("--seconds", metavar="N", help="end after so many seconds of sound")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")


def run(args: argparse.Namespace) -> int:
    """Listen as the arguments say.

    Raises
    ------
    MeterError
        Arguments that cannot be meant, a source that cannot be opened, or nothing was heard.
    """
    from meter.check_command import target_named

    if args.set and args.no_journal:
        raise UsageError("--set came with --no-journal, but a set is what the journal keeps; leave one out")
    _refuse_serve_options(args)
    if args.mixer_zero is not None and not args.set:
        raise UsageError("--mixer-zero came without --set; give both, or leave it out")
    crossover_hz = crossover_from(args.crossover)
    listen = partial(
        _listen,
        args.source,
        pair=None if args.channels is None else pair_from(args.channels),
        target=target_named(args.target),
        crossover_hz=crossover_hz,
        seconds=None if args.seconds is None else seconds_from(args.seconds),
        as_json=args.json,
        keeps=not args.no_journal,
        of_set=_set_settings(args.mixer_zero) if args.set else None,
        low_end=low_end_from(args, crossover_hz=crossover_hz),
        setup=args.setup,
    )
    return _serving(args, listen) if args.serve else listen()


def _refuse_serve_options(args: argparse.Namespace) -> None:
    """`UsageError` for options that do not go together."""
    if not args.serve:
        for name in ("host", "port"):
            if getattr(args, name) is not None:
                raise UsageError(f"--{name} came without --serve; give both, or leave it out")
    elif args.json:
        raise UsageError("--serve came with --json, but the page is for people, not programs; leave one out")


def _serving(args: argparse.Namespace, listen: Callable[..., int]) -> int:
    """Listen with a page for a second screen; its address is taken before the source is opened."""
    from meter.second_screen.address import LOOPBACK, bind, port_from
    from meter.second_screen.server import SecondScreen

    port = 0 if args.port is None else port_from(args.port)
    address = bind(LOOPBACK if args.host is None else args.host, port)
    with address.socket:
        return listen(second_screen=partial(SecondScreen, address=address))


def run_demo(args: argparse.Namespace) -> int:
    """Listen to the demo tune, held against the target for clubs, or measure it at once."""
    from meter.check_command import target_named
    from meter.low_end.settings import LowEndSettings

    if args.at_once:
        if args.json or args.seconds is not None:
            raise UsageError("--at-once came with --json or --seconds, but it prints the whole tune as text")
        from meter import demo

        return demo.run()

    window: Window | None = getattr(args, "window", None)
    if window is not None and not (args.no_window or args.json or args.seconds is not None):
        status = window("demo", DEMO_TARGET)
        if status is not None:
            return status
    return _listen(
        "demo",
        target=target_named(DEMO_TARGET),
        low_end=LowEndSettings(),
        seconds=None if args.seconds is None else seconds_from(args.seconds),
        as_json=args.json,
    )


def _set_settings(mixer_zero: str | None) -> SetSettings:
    """How a set is looked at; `UsageError` for what is no level."""
    from meter.set_settings import MIXER_ZERO_RANGE_DBFS, SetSettings, remembered

    if mixer_zero is None:
        return remembered()
    lowest, highest = MIXER_ZERO_RANGE_DBFS
    try:
        zero_dbfs = float(mixer_zero)
    except ValueError:
        zero_dbfs = math.nan
    if not lowest <= zero_dbfs <= highest:
        raise UsageError(
            f"--mixer-zero {mixer_zero} came; expected {lowest:g} to {highest:g} dBFS, such as "
            "--mixer-zero -18"
        )
    return SetSettings(mixer_zero_dbfs=zero_dbfs)


def seconds_from(text: str) -> float:
    """A number of seconds above 0; `UsageError` for anything else."""
    try:
        seconds = float(text)
    except ValueError:
        seconds = math.nan
    if not 0.0 < seconds < math.inf:
        raise UsageError(f"--seconds {text} came; expected a number above 0, such as --seconds 30")
    return seconds


def _listen(
    spec: str,
    *,
    target: Target | None,
    pair: tuple[int, int] | None = None,
    crossover_hz: float = 120.0,
    seconds: float | None = None,
    as_json: bool = False,
    keeps: bool = False,
    of_set: SetSettings | None = None,
    low_end: LowEndSettings | None = None,
    setup: str | None = None,
    second_screen: ScreenMaker | None = None,
) -> int:
    from meter.capture.open import open_source
    from meter.listening import Listening

    source = open_source(spec, channels=pair)
    is_kept = keeps and (of_set is not None or source.state().info.is_live)
    return Listening(
        source,
        target=target,
        pair=pair,
        crossover_hz=crossover_hz,
        seconds=seconds,
        as_json=as_json,
        keeps=is_kept,
        of_set=of_set,
        low_end=low_end,
        hearer=None if setup is None else _hearer(setup, keeps=keeps and source.state().info.is_live),
        second_screen=second_screen,
    ).run()


def _hearer(setup: str, *, keeps: bool) -> Hearer:
    """What follows the level at the ear, with the setup and the rule that the journal knows."""
    from meter.exposure.live import LiveEar
    from meter.exposure.store import ExposureStore
    from meter.journal.store import read_journal

    with read_journal() as journal:
        store = ExposureStore(journal)
        calibration, rule = store.calibration(setup), store.rule()
    assert calibration is not None
    return partial(LiveEar, calibration=calibration, rule=rule, keeps=keeps)
