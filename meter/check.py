"""`leadline check`: a file through the chain, held against a target.

What was measured is a `Checked`; `meter.check_text` makes a block of text of it, `meter.check_table`
a row of a table and `meter.check_json` an object. Many files: `meter.check_run`.
"""

from __future__ import annotations

import logging
from contextlib import ExitStack, closing
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np

from meter import forked
from meter.audio_file import AudioFile
from meter.av_kinds import CODECS
from meter.check_part import Part
from meter.errors import MeterError, ProcessEndedError
from meter.files import open_audio
from meter.findings.records import Finding
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.pollution import Suggestion
from meter.read_ahead import read_ahead
from meter.soundings import Soundings, Summary
from meter.targets import Target, Verdict, judge

if TYPE_CHECKING:
    from meter.delivery.codecs import Wish
    from meter.delivery.encoded import Encoded
    from meter.low_end.analysis import LowEndAnalysis
    from meter.low_end.beside import LowEndBeside
    from meter.standards.playback_levels import PlaybackLevel

LOG: Final = logging.getLogger("meter.check")

DEFAULT_CROSSOVER_HZ: Final = 120.0
CROSSOVER_RANGE_HZ: Final = (40.0, 300.0)


class Progress(Protocol):
    """Called with the seconds that were read, and those there are (None = not known).

    While encoders are tried: with as large a share of the seconds as of their work is done, and their names.
    """

    def __call__(self, done_s: float, whole_s: float | None, doing: str = "", /) -> None:
        """Tell it."""



@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How to measure, the same for every file of a run."""

    target: Target | None = None
    pair: tuple[int, int] | None = None
    crossover_hz: float = DEFAULT_CROSSOVER_HZ
    part: Part = field(default_factory=Part)
    bpm: float | None = None
    downbeat_s: float = 0.0
    beside: bool = True  # reading and true peak in threads of their own
    keep_soundings: bool = False  # in `Checked`: 2000 bytes of memory for every second
    low_end: LowEndSettings | None = None  # look for notes, kicks and what mono does to them
    encodes: tuple[Wish, ...] = ()  # encoders to try it with
    playback: tuple[PlaybackLevel, ...] = ()  # levels that players bring it to
    turns_up: bool = True  # and whether they turn up what is quieter

    @property
    def over_limit_dbtp(self) -> float:
        """Where an over begins."""
        return 0.0 if self.target is None else self.target.true_peak_limit_dbtp


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """One file, or other whole pass, as measured."""

    name: str
    kind: str  # "WAV, 16 bit"
    channels_text: str
    summary: Summary
    options: Options
    verdicts: dict[str, Verdict] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    soundings: Soundings | None = None  # with `keep_soundings`; frames count from the start of the part
    findings: tuple[Finding, ...] = ()
    suggestions: tuple[Suggestion, ...] = ()  # what may not belong to the pass; of a whole file
    is_lossy: bool = False
    weights: tuple[float, ...] = ()  # of the channels, as BS.1770 has them
    low_end: LowEnd | None = None  # where it was looked at
    encodes: tuple[Encoded, ...] = ()

    @property
    def is_inside(self) -> bool:
        """Whether every verdict says inside; what could not be told yet is not."""
        return all(verdict is Verdict.INSIDE for verdict in self.verdicts.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Failed:
    """One file that could not be read, and the sentence why."""

    name: str
    message: str


Result = Checked | Failed


def check_one(name: str, options: Options, *, progress: Progress | None = None) -> Result:
    """As `check_file`, but whatever is wrong with the file comes as a `Failed`."""
    try:
        return check_file(name, options, progress=progress)
    except ProcessEndedError as error:
        return Failed(name=name, message=f"{name}: {error}")
    except MeterError as error:
        return Failed(name=name, message=str(error))
    except (OSError, MemoryError) as error:  # the stick was pulled out
        why = getattr(error, "strerror", None) or str(error) or "out of memory"
        return Failed(name=name, message=f"{name}: reading it failed ({why}); copy it to this machine first")
    except (ArithmeticError, LookupError, TypeError, ValueError, RuntimeError, AssertionError) as error:
        LOG.exception("please report this: measuring %s failed", name)
        words = " ".join(str(error).split())
        return Failed(
            name=name,
            message=f"{name}: measuring it failed ({type(error).__name__}: {words}); please report this",
        )


def check_file(name: str, options: Options, *, progress: Progress | None = None) -> Checked:
    """Measure one file from beginning to end, in bounded memory.

    Raises
    ------
    AudioFileError
        The file cannot be read as audio.
    UsageError
        The options cannot be meant for it.
    """
    with open_audio(Path(name), pair=options.pair) as audio:
        measured = _measure(audio, options, progress)
        rows, summary = measured.rows, measured.summary
        notes = list(audio.notes)
        own = summary.nonfinite_samples - audio.channels * sum(gap.frames for gap in audio.damaged)
        if own > 0:
            notes.append(f"{own} samples were no numbers and were taken as silence")
        encodes, unsaid = _encodes(name, options, summary, progress)
        notes += unsaid
        return Checked(
            name=name,
            kind=kind_of(audio.format, audio.subtype),
            channels_text=channels_text(audio.channels, audio.weights, options.pair, audio.file_channels),
            summary=summary,
            options=options,
            verdicts={} if options.target is None else judge(options.target, summary),
            notes=tuple(notes),
            soundings=rows if options.keep_soundings else None,
            findings=(
                *_with_low_end(measured.findings, measured.low_end, options),
                *_encode_findings(encodes, options),
            ),
            encodes=tuple(encodes),
            suggestions=measured.suggestions,
            is_lossy=audio.is_lossy,
            weights=audio.weights,
            low_end=measured.low_end,
        )


def _encodes(
    name: str, options: Options, summary: Summary, progress: Progress | None
) -> tuple[list[Encoded], list[str]]:
    if not options.encodes:
        return [], []
    from meter.delivery.of_file import AT_ONCE, encodes_of

    def tell(words: str, share: float) -> None:
        if progress is not None and words:
            progress(share * summary.seconds, summary.seconds, words)

    with open_audio(Path(name), pair=options.pair) as audio:  # once more: it is read to its end only once
        return encodes_of(
            audio,
            options.part,
            options.encodes,
            ceiling_dbtp=options.over_limit_dbtp,
            integrated_lufs=summary.integrated_lufs,
            at_once=AT_ONCE if options.beside else 1,
            tell=tell,
        )


def _encode_findings(encodes: list[Encoded], options: Options) -> tuple[Finding, ...]:
    if not encodes:
        return ()
    from meter.delivery.words import encode_findings

    return encode_findings(encodes, from_s=options.part.from_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Measured:
    """What came of the samples."""

    rows: Soundings
    summary: Summary
    findings: tuple[Finding, ...]  # but those of the low end
    suggestions: tuple[Suggestion, ...]
    low_end: LowEnd | None


def _measure(audio: AudioFile, options: Options, progress: Progress | None) -> _Measured:
    from meter.chain import Chain

    whole_s = options.part.length_s(audio)
    # Both before any thread begins: a process with threads is not to be copied.
    is_apart = options.beside and (whole_s is None or whole_s >= forked.LEAST_S) and forked.is_possible()
    frames, parts = 0, []
    with ExitStack() as held:
        low_end = _low_end(audio, options, is_apart=is_apart)
        if low_end is not None:
            held.callback(low_end.close)
        chain = held.enter_context(
            Chain(
                rate_hz=audio.rate_hz,
                channels=audio.channels,
                weights=audio.weights,
                crossover_hz=options.crossover_hz,
                over_limit_dbtp=options.over_limit_dbtp,
                is_excerpt=not options.part.is_whole,
                beside=options.beside and not is_apart,
                apart=is_apart,
                low_sink=low_end,
            )
        )
        blocks = options.part.blocks(audio)
        if options.beside and audio.is_compressed:  # for plain samples a thread costs more than it saves
            blocks = read_ahead(blocks)
        held.enter_context(closing(blocks))  # so that the reader has ended before the file is closed
        for block in blocks:
            parts.append(chain.process(block))
            frames += len(block)
            if progress is not None:
                progress(frames / audio.rate_hz, whole_s)
        parts.append(chain.flush())
        rows = np.concatenate(parts)
        # Before the low end is asked for: in a process of its own it is not quite there yet.
        summary = _summary(audio, rows, options.part)
        return _Measured(
            rows=rows,
            summary=summary,
            findings=_findings(audio, rows, summary, options),
            suggestions=_suggestions(audio, rows) if options.part.is_whole else (),
            low_end=None if low_end is None else low_end.reading(),
        )


def _low_end(audio: AudioFile, options: Options, *, is_apart: bool) -> LowEndAnalysis | LowEndBeside | None:
    if options.low_end is None:
        return None
    from meter.low_end.analysis import LowEndAnalysis
    from meter.low_end.beside import LowEndBeside
    from meter.low_end.clock import low_clock

    clock = low_clock(audio.rate_hz, start_s=options.part.from_s)
    return LowEndBeside(clock, options.low_end) if is_apart else LowEndAnalysis(clock, options.low_end)


def _summary(audio: AudioFile, rows: Soundings, part: Part) -> Summary:
    from meter.passes import summarise

    summary = summarise(
        rows, rate_hz=audio.rate_hz, channels=audio.channels, weights=audio.weights, gaps=part.gaps(audio)
    )
    at_s = summary.loudest_30s_at_s
    # Places are those in the file, whatever part of it was asked for.
    return summary if at_s is None else replace(summary, loudest_30s_at_s=at_s + part.from_s)


def _findings(
    audio: AudioFile, rows: Soundings, summary: Summary, options: Options
) -> tuple[Finding, ...]:
    from meter.findings.whole import A_FILE, findings_of

    return findings_of(
        rows,
        rate_hz=audio.rate_hz,
        channels=audio.channels,
        weights=audio.weights,
        target=options.target,
        crossover_hz=options.crossover_hz,
        over_limit_dbtp=options.over_limit_dbtp,
        gaps=summary.gaps,
        from_s=options.part.from_s,
        ends_there=options.part.to_s is None,
        info=replace(A_FILE, is_lossy=audio.is_lossy),
    )


def _with_low_end(
    found: tuple[Finding, ...], low_end: LowEnd | None, options: Options
) -> tuple[Finding, ...]:
    """All findings in the order of time, with bars where the tempo is known."""
    from meter.findings.bars import with_bars

    if low_end is not None and options.low_end is not None:
        from meter.low_end.findings import low_end_findings

        more = low_end_findings(low_end, options.low_end, from_s=options.part.from_s)
        found = tuple(sorted((*found, *more), key=lambda one: one.first_slot))
    bpm = options.bpm
    if bpm is None:
        return found
    return tuple(
        replace(one, text=with_bars(one.text, bpm=bpm, downbeat_s=options.downbeat_s)) for one in found
    )


def _suggestions(audio: AudioFile, rows: Soundings) -> tuple[Suggestion, ...]:
    from meter.pollution import suggestions_for
    from meter.selection import Part as Selected

    return suggestions_for(
        Selected(rows=rows, rate_hz=audio.rate_hz, channels=audio.channels, weights=audio.weights)
    )


_WORD_LENGTHS: Final = {
    "PCM_S8": "8 bit",
    "PCM_U8": "8 bit",
    "PCM_16": "16 bit",
    "PCM_24": "24 bit",
    "PCM_32": "32 bit",
    "FLOAT": "32-bit float",
    "DOUBLE": "64-bit float",
}

_KINDS: Final = {"WAVEX": "WAV", "OGG": "Ogg"}

_CODECS: Final = {"VORBIS": "Ogg Vorbis", "OPUS": "Opus", "MPEG_LAYER_III": "MP3"}


def kind_of(format_: str, subtype: str) -> str:
    """Format and word length in plain words."""
    if subtype in _CODECS:
        return _CODECS[subtype]
    if subtype in CODECS.values():
        return subtype if subtype == format_ else f"{subtype} in {format_}"
    kind = _KINDS.get(format_, format_)
    return f"{kind}, {_WORD_LENGTHS.get(subtype, subtype.replace('_', ' ').lower())}"


def channels_text(
    channels: int, weights: tuple[float, ...], pair: tuple[int, int] | None, of_channels: int
) -> str:
    """The channels in plain words, with their weights where they are not all alike."""
    if pair is not None:
        return f"channels {pair[0]} and {pair[1]} of {of_channels}"
    words = {1: "mono", 2: "stereo"}.get(channels, f"{channels} channels")
    if len(set(weights)) > 1:
        words += f" weighted {', '.join(f'{weight:g}' for weight in weights)}"
    return words
