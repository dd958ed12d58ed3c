"""Summaries and readings made by hand, for tests of what is said about them."""

from __future__ import annotations

from typing import Any

from meter.soundings import BANDS, Reading, Summary


def a_summary(**changed: Any) -> Summary:
    """A stereo tune of four minutes that is inside the club target, with some values changed."""
    values: dict[str, Any] = {
        "seconds": 240.0,
        "sample_rate_hz": 44_100,
        "channels": 2,
        "integrated_lufs": -8.4,
        "loudness_range_lu": 6.1,
        "loudness_range_stable": True,
        "momentary_max_lufs": -4.8,
        "short_term_max_lufs": -5.9,
        "loudest_30s_lufs": -6.5,
        "loudest_30s_at_s": 88.0,
        "loudest_30s_is_whole": False,
        "true_peak_dbtp": -0.3,
        "true_peaks_dbtp": (-0.3, -0.5),
        "sample_peak_dbfs": -0.4,
        "peak_to_loudness_lu": 8.1,
        "short_term_peak_to_loudness_lu": 5.6,
        "correlation": 0.62,
        "fold_loss_db": dict.fromkeys(BANDS, -0.4),
        "low_correlation": 0.97,
        "overs": 0,
        "lost_frames": 0,
        "gaps": (),
        "nonfinite_samples": 0,
        "why_null": {},
    }
    return Summary(**{**values, **changed})


def a_reading(**changed: Any) -> Reading:
    """A minute into that tune, with some values changed."""
    values: dict[str, Any] = {
        "at_s": 60.0,
        "momentary_lufs": -7.0,
        "short_term_lufs": -7.2,
        "integrated_lufs": -9.0,
        "loudness_range_lu": 5.0,
        "loudness_range_stable": True,
        "momentary_max_lufs": -5.0,
        "short_term_max_lufs": -6.1,
        "loudest_30s_lufs": -7.5,
        "loudest_30s_at_s": 30.0,
        "true_peak_dbtp": (-1.0, -1.2),
        "true_peak_max_dbtp": (-0.4, -0.5),
        "sample_peak_max_dbfs": (-0.6, -0.5),
        "peak_to_loudness_lu": 8.6,
        "short_term_peak_to_loudness_lu": 6.8,
        "correlation": -0.5,
        "correlation_3s": 0.5,
        "fold_loss_db": dict.fromkeys(BANDS, -6.0),
        "fold_loss_3s_db": dict.fromkeys(BANDS, -0.5),
        "low_correlation": 0.9,
        "overs": 0,
        "lost_frames": 0,
        "nonfinite_samples": 0,
    }
    return Reading(**{**values, **changed})
