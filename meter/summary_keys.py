"""Values of a summary by key, as targets, text and JSON name them: bands stand behind a dot."""

from __future__ import annotations

from meter.soundings import Summary


def value_of(summary: Summary, key: str) -> float | None:
    """The value of a measure such as "true_peak_dbtp" or "fold_loss_db.below_crossover"."""
    name, _, band = key.partition(".")
    value: float | None = summary.fold_loss_db.get(band) if band else getattr(summary, name)
    return value


def why_null(summary: Summary, key: str) -> str:
    """Why a value is None: "silence", "not yet" or "does not apply"."""
    name = key.partition(".")[0]
    return summary.why_null.get(key) or summary.why_null.get(name, "not yet")
