"""The arguments of `leadline check`, its help, and what is meant by them."""

from __future__ import annotations

import argparse
from typing import Final

from meter.arguments import (
    add_crossover,
    add_low_end,
    bpm_from,
    crossover_from,
    downbeat_from,
    low_end_from,
    pair_from,
)
from meter.delivery.arguments import add_delivery, delivery_from
from meter.errors import UsageError

DESCRIPTION: Final = """\
Measure audio files: loudness, peaks, left and right, what is lost in mono.

Read are WAV (also RF64 and W64), AIFF, FLAC, Ogg Vorbis, Opus, MP3, AAC and ALAC (M4A, MP4), WMA, WavPack,
and the sound of a video (MP4, MKV, WebM, MOV, AVI). A folder stands for all audio files in it and in the
folders in it. One file gives a block of text, more give a table, with the trim of each: the gain that
brings its loudest 30 s to the median of all, which is what to set before a gig.
"""

EXAMPLES: Final = """\
examples:
  leadline check tune.wav                          one tune, all that is measured
  leadline check tune.wav --target club --strict   exit status 1 when it misses the target
  leadline check crate/                            a table of a folder, with the trim of each tune
  leadline check crate/ --csv crate.csv            the same, and all numbers for a spreadsheet
  leadline check tune.wav --from 1:28 --to 1:58    only a part, exact to the frame
  leadline check set.mp4 --json                    one JSON object a line
  leadline check tune.wav --encode aac:256,mp3:320,opus:128    will it clip once encoded?

targets that come with the program: club, ebu-r128. Your own stand in targets.toml in the
settings folder, for example:

  [mine]
  loudest_30s_lufs = { min = -7.5, max = -6.5 }
  true_peak_dbtp = { max = -0.5 }
  fold_loss_db.below_crossover = { min = -1.0 }

Files are measured side by side, on as many cores as there are. Ctrl-C prints what is done.
What was checked is not kept; `leadline shelf add FILE` keeps a file as a reference.

exit status: 0 done, 1 a file is not inside its target (with --strict), 2 unusable arguments
or a file that cannot be read; one bad file never stops the rest. 130 stopped with Ctrl-C.
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `check` to the commands."""
    check = commands.add_parser(
        "check",
        help="measure audio files, or all in a folder",
        description=DESCRIPTION,
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    check.add_argument(
        "files", nargs="+", metavar="PATH", help="an audio file, a video with sound, or a folder"
    )
    check.add_argument("--target", metavar="NAME", help="hold each file against this target")
    check.add_argument(
        "--strict", action="store_true", help="exit status 1 when a file is not inside its target"
    )
    check.add_argument(
        "--from", dest="from_time", metavar="TIME", help="begin there: 1:30, 1:30.5 or 90 (seconds)"
    )
    check.add_argument("--to", dest="to_time", metavar="TIME", help="end there, of every file")
    check.add_argument("--json", action="store_true", help="one JSON object a line")
    check.add_argument(
        "--csv",
        metavar="FILE",
        help="also write one row a file there, with all the numbers of the JSON; "
        "-: to standard output, in place of the text",
    )
    check.add_argument("--channels", metavar="A,B", help="read these two channels as left and right, from 1")
    add_crossover(check)
    add_low_end(check)
    add_delivery(check)
    check.add_argument("--bpm", metavar="BPM", help="tempo, to name places in bars and beats too")
    check.add_argument("--downbeat", metavar="S", help="where bar 1 begins, in seconds; 0 unless set")
    check.add_argument("--one-thread", action="store_true", help="leave the other cores alone; slower")
    check.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Do it; the exit status."""
    from meter import check_command
    from meter.check import Options
    from meter.check_part import part_from

    crossover_hz = crossover_from(args.crossover)
    delivery = delivery_from(args)
    options = Options(
        target=check_command.target_named(args.target),
        pair=None if args.channels is None else pair_from(args.channels),
        crossover_hz=crossover_hz,
        bpm=None if args.bpm is None else bpm_from(args.bpm),
        downbeat_s=_downbeat_s(args),
        part=part_from(args.from_time, args.to_time),
        beside=not args.one_thread,
        low_end=low_end_from(args, crossover_hz=crossover_hz),
        encodes=delivery.encodes,
        playback=delivery.playback,
        turns_up=delivery.turns_up,
    )
    return check_command.run(
        args.files,
        options,
        strict=args.strict,
        as_json=args.json,
        csv_path=args.csv,
        workers=0 if args.one_thread else None,
    )


def _downbeat_s(args: argparse.Namespace) -> float:
    if args.downbeat is None:
        return 0.0
    if args.bpm is None:
        raise UsageError(
            f"--downbeat {args.downbeat} came without a tempo, but bars need one; name it too, "
            "such as --bpm 174"
        )
    return downbeat_from(args.downbeat)
