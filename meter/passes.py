"""The numbers of a pass, or of any part of one, from its soundings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from meter.chain import DEFAULT_CROSSOVER_HZ, Chain
from meter.dsp import gating
from meter.dsp.loudness import LOUDEST_SOUNDINGS
from meter.dsp.stereo import correlation, fold_loss_db
from meter.errors import UsageError
from meter.readings import LONG_ROWS, SHORT_ROWS, STABLE_RANGE_S, band_is_heard, loudest_low_power
from meter.soundings import (
    AFTER_GAP,
    BANDS,
    CUT_SHORT,
    LOW_BANDS,
    NONFINITE,
    Gap,
    Soundings,
    Summary,
)
from meter.standards import bs1770
from meter.units import Floats, Samples, amplitude_to_db, power_to_db, power_to_lufs

_SILENCE: Final = "silence"
_NOT_YET: Final = "not yet"
_DOES_NOT_APPLY: Final = "does not apply"


def _unbroken(rows: Soundings) -> list[Soundings]:
    """Runs of full, clean soundings without a gap inside."""
    usable = (rows["flags"] & (CUT_SHORT | NONFINITE)) == 0
    breaks = np.flatnonzero((rows["flags"] & AFTER_GAP) != 0)
    runs: list[Soundings] = []
    for start, stop in zip([0, *breaks], [*breaks, len(rows)], strict=True):
        edges = np.flatnonzero(
            np.diff(np.concatenate([[False], usable[start:stop], [False]]).astype(np.int8))
        )
        runs += [rows[start + a : start + b] for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return runs


def weighted_powers(rows: Soundings, weights: Sequence[float]) -> Floats:
    """Weighted K power of each sounding."""
    channels = len(weights)
    return np.asarray(rows["k_power"][:, :channels].astype(np.float64) @ np.asarray(weights), np.float64)


def integrated_of(rows: Soundings, weights: Sequence[float]) -> float | None:
    """I of consecutive soundings alone."""
    powers = [weighted_powers(run, weights) for run in _unbroken(rows)]
    return gating.gated_loudness(_windows(powers, gating.SOUNDINGS_A_BLOCK))


def _windows(powers: list[Floats], width: int) -> Floats:
    return np.concatenate([gating.moving_mean(p, width) for p in powers]) if powers else np.empty(0)


def _loudest(
    runs: list[Soundings], powers: list[Floats], seconds: float
) -> tuple[float | None, int | None, bool]:
    """Gated loudness of the loudest 30 s, its first frame, and whether a shorter pass stands in whole.

    None where the pass is long enough, but everywhere broken by gaps or replaced samples.
    """
    best: tuple[float, int, int] | None = None
    for index, power in enumerate(powers):
        found = gating.loudest_run(power, width=LOUDEST_SOUNDINGS)
        if found and (best is None or found[1] > best[0]):
            best = found[1], index, found[0]
    if best is not None:
        _, index, at = best
        part = powers[index][at : at + LOUDEST_SOUNDINGS]
        return gating.gated_loudness_of_soundings(part), int(runs[index]["start_frame"][at]), False
    if seconds >= gating.LOUDEST_S or not runs:
        return None, None, False
    return (
        gating.gated_loudness(_windows(powers, gating.SOUNDINGS_A_BLOCK)),
        int(runs[0]["start_frame"][0]),
        True,
    )


def _pair(
    rows: Soundings, runs: list[Soundings], channels: int
) -> tuple[float | None, dict[str, float | None], float | None]:
    """Correlation, loss in mono for each band, and low-end correlation over all rows."""
    losses: dict[str, float | None] = dict.fromkeys(BANDS)
    frames = rows["frames"].astype(np.float64)
    if channels < 2 or frames.sum() == 0:
        return None, losses, None
    share = frames / frames.sum()
    sums = {name: (rows[name].astype(np.float64) * share[:, None]).sum(axis=0) for name in ("ll", "rr", "lr")}
    loudest = max((loudest_low_power(run) for run in runs), default=0.0)
    low: float | None = None
    for band, name in enumerate(BANDS):
        ll, rr, lr = (float(sums[key][band]) for key in ("ll", "rr", "lr"))
        if name in LOW_BANDS and not band_is_heard(ll + rr, loudest):
            continue
        losses[name] = fold_loss_db(ll, rr, lr)
        if name == "below_crossover":
            low = correlation(ll, rr, lr)
    full = BANDS.index("full")
    return correlation(*(float(sums[key][full]) for key in ("ll", "rr", "lr"))), losses, low


def _short_term_peak_to_loudness(runs: list[Soundings], powers: list[Floats], channels: int) -> float | None:
    """Smallest distance, over the pass, from the true peak of 3 s to their loudness."""
    smallest: float | None = None
    for rows, power in zip(runs, powers, strict=True):
        loud = gating.moving_mean(power, LONG_ROWS)
        if len(loud) == 0:
            continue
        tops = rows["true_peak"][:, :channels].max(axis=1)
        peaks = np.lib.stride_tricks.sliding_window_view(tops, LONG_ROWS).max(axis=1)
        heard = (loud > gating.ABSOLUTE_GATE_POWER) & (peaks > 0.0)
        if heard.any():
            ratio = float((peaks[heard].astype(np.float64) ** 2 / loud[heard]).min())
            found = power_to_db(ratio) - power_to_lufs(1.0)
            smallest = found if smallest is None else min(smallest, found)
    return smallest


def _peak_db(values: Floats) -> float | None:
    return amplitude_to_db(float(values.max())) if values.size else None


def _max_lufs(powers: Floats, window_rows: int) -> float | None:
    """Highest M or S of the windows that lie inside.

    Where a pass begins, its first soundings hold no whole window. Where a part is cut out of a
    pass, theirs reach before it, up to 90 ms those of the sounding that first ends a whole one too.
    """
    whole = window_rows - 1
    is_cut_out = len(powers) > whole and not np.isnan(powers[whole - 1])
    inside = powers[whole + is_cut_out :]
    numbers = inside[~np.isnan(inside)]
    return power_to_lufs(float(numbers.max())) if len(numbers) else None


def _dc_offset(rows: Soundings, channels: int) -> tuple[float, ...]:
    """Mean sample of each channel over all rows; nothing without any."""
    frames = rows["frames"].astype(np.float64)
    if frames.sum() == 0:
        return ()
    return tuple((frames @ rows["dc"][:, :channels] / frames.sum()).tolist())


def _reasons(values: dict[str, float | None], channels: int, rows: Soundings) -> dict[str, str]:
    """Why a value cannot be given, for each that cannot."""
    pair = {"correlation", "low_correlation", "fold_loss_db"}
    is_silent = not rows["sample_peak"].any() or values["integrated_lufs"] == -math.inf
    why: dict[str, str] = {}
    for key, value in values.items():
        if value is not None and not math.isinf(value):
            continue
        if channels < 2 and key in pair:
            why[key] = _DOES_NOT_APPLY
        elif len(rows) == 0:
            why[key] = _NOT_YET
        else:
            why[key] = _SILENCE if is_silent or value is not None or key in pair else _NOT_YET
    return why


def summarise(
    rows: Soundings,
    *,
    rate_hz: int,
    channels: int,
    weights: Sequence[float] | None = None,
    gaps: Sequence[Gap] = (),
) -> Summary:
    """Measure a pass, or a part of one, from its soundings.

    Parameters
    ----------
    rows : ndarray of `SOUNDING`
        Consecutive soundings.
    rate_hz, channels, weights
        As the chain had them.
    gaps : sequence of Gap
        What was lost inside.
    """
    weights = bs1770.default_weights(channels) if weights is None else weights
    seconds = float(rows["frames"].sum()) / rate_hz
    runs = _unbroken(rows)
    powers = [weighted_powers(run, weights) for run in runs]
    integrated = integrated_of(rows, weights)
    loudness_range = gating.loudness_range(_windows(powers, LONG_ROWS))
    loudest, loudest_frame, is_whole = _loudest(runs, powers, seconds)
    true_peaks = rows["true_peak"][:, :channels]
    true_peak = _peak_db(true_peaks)
    plr = None
    if (
        integrated is not None
        and true_peak is not None
        and math.isfinite(integrated)
        and math.isfinite(true_peak)
    ):
        plr = true_peak - integrated
    pair_correlation, losses, low_correlation = _pair(rows, runs, channels)
    values: dict[str, float | None] = {
        "integrated_lufs": integrated,
        "loudness_range_lu": loudness_range,
        "momentary_max_lufs": _max_lufs(rows["momentary_max"], SHORT_ROWS),
        "short_term_max_lufs": _max_lufs(rows["short_term_max"], LONG_ROWS),
        "loudest_30s_lufs": loudest,
        "loudest_30s_at_s": None if loudest_frame is None else loudest_frame / rate_hz,
        "true_peak_dbtp": true_peak,
        "sample_peak_dbfs": _peak_db(rows["sample_peak"][:, :channels]),
        "peak_to_loudness_lu": plr,
        "short_term_peak_to_loudness_lu": _short_term_peak_to_loudness(runs, powers, channels),
        "correlation": pair_correlation,
        "low_correlation": low_correlation,
    }
    reasons = _reasons({**values, "fold_loss_db": losses["full"]}, channels, rows)
    for name, loss in losses.items():
        if loss is None and "fold_loss_db" not in reasons:
            reasons[f"fold_loss_db.{name}"] = _SILENCE
    return Summary(
        seconds=seconds,
        sample_rate_hz=rate_hz,
        channels=channels,
        loudness_range_stable=seconds >= STABLE_RANGE_S,
        loudest_30s_is_whole=is_whole,
        true_peaks_dbtp=tuple(amplitude_to_db(float(a)) for a in true_peaks.max(axis=0, initial=0.0)),
        fold_loss_db=losses,
        overs=int(rows["overs"].sum()),
        lost_frames=sum(gap.frames for gap in gaps),
        gaps=tuple(gaps),
        nonfinite_samples=int(rows["nonfinite"].sum()),
        flat_top_runs=int(rows["flat_tops"].sum()),
        dropouts=int(rows["dropouts"].sum()),
        dc_offset=_dc_offset(rows, channels),
        why_null=reasons,
        **values,
    )


def measure(
    samples: Samples,
    *,
    rate_hz: int,
    weights: Sequence[float] | None = None,
    crossover_hz: float = DEFAULT_CROSSOVER_HZ,
    over_limit_dbtp: float = 0.0,
) -> Summary:
    """Measure a whole array as one pass.

    Parameters
    ----------
    samples : ndarray, shape (frames, channels)
        Full scale 1.0.
    rate_hz : int
        Sample rate, 8000 to 384000.

    Raises
    ------
    UsageError
        Samples of another shape; rate, channels, weights or crossover out of range.
    """
    if samples.ndim != 2:
        raise UsageError(
            f"the samples have the shape {samples.shape}, but frames and channels were expected; "
            "reshape them to (frames, channels)"
        )
    channels = samples.shape[1]
    chain = Chain(
        rate_hz=rate_hz,
        channels=channels,
        weights=None if weights is None else tuple(weights),
        crossover_hz=crossover_hz,
        over_limit_dbtp=over_limit_dbtp,
    )
    rows = np.concatenate([chain.process(samples), chain.flush()])
    return summarise(rows, rate_hz=rate_hz, channels=channels, weights=weights)
