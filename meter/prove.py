"""`leadline prove`: the published test signals through our own chain, as a table or as JSON.

The work is done in `meter.proof`; here it becomes text, and an exit status.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Iterator, Sequence
from typing import Any, Final

from meter.proof import Proof, ProofRow, prove
from meter.standards.cases import Case

__all__ = ["Proof", "ProofRow", "as_records", "prove", "render", "run"]

COLUMNS: Final = ("case", "what is read", "expected", "limit", "ideal", "read", "unit", "verdict")


def _number(value: float | None, digits: int = 3) -> str:
    return "--" if value is None else f"{value:.{digits}f}"


def _limit(case: Case) -> str:
    if case.low == case.high:
        return f"{case.low:.2f}"
    return f"{case.low:.2f} ... {case.high:.2f}"


def render(proof: Proof) -> str:
    """The table for people, one block a document, and what it comes to."""
    table = [
        (
            row.case.name,
            row.case.reads,
            _number(row.case.expected, 2),
            _limit(row.case),
            _number(row.case.ideal),
            _number(row.read),
            row.case.unit,
            row.verdict,
        )
        for row in proof.rows
    ]
    widths = [max(map(len, column)) for column in zip(COLUMNS, *table, strict=True)]

    def line(cells: Sequence[str]) -> str:
        aligned = [
            cell.rjust(width) if 2 <= place <= 5 else cell.ljust(width)
            for place, (cell, width) in enumerate(zip(cells, widths, strict=True))
        ]
        return "  ".join(aligned).rstrip()

    lines = [line(COLUMNS)]
    document = None
    for row, cells in zip(proof.rows, table, strict=True):
        if row.case.document != document:
            document = row.case.document
            lines += ["", document]
        lines.append(line(cells))
    return "\n".join([*lines, "", *_closing(proof)])


def _closing(proof: Proof) -> list[str]:
    count = len(proof.rows)
    sentences = [
        f"{count} rows: {count - proof.missed} inside, {proof.missed} missed; {proof.seconds:.1f} s.",
        "Read is the value furthest from the ideal; inside means that every value is within the limit of",
        "the document and, where there is an ideal, as near to it as the project asks of itself.",
    ]
    if not proof.rows:
        sentences = ["no rows: nothing was proved; reinstall leadline"]
    if proof.no_second_opinion is not None:
        sentences.append(f"The second opinion was not run: {proof.no_second_opinion}.")
    return sentences


def as_records(proof: Proof) -> Iterator[dict[str, Any]]:
    """The rows as JSON objects; a value that cannot be given is null, with the reason."""
    for row in proof.rows:
        case, unit = row.case, row.case.unit.lower()
        values = {
            f"expected_{unit}": case.expected,
            f"limit_low_{unit}": case.low,
            f"limit_high_{unit}": case.high,
            f"ideal_{unit}": case.ideal,
            f"read_{unit}": row.read,
            f"read_lowest_{unit}": row.lowest,
            f"read_highest_{unit}": row.highest,
        }
        yield {
            "type": "proof",
            "case": case.name,
            "document": case.document,
            "clause": case.clause,
            "reads": case.reads,
            "sample_rate_hz": case.rate_hz,
            **{key: value if _is_number(value) else None for key, value in values.items()},
            "ideal_within_db": case.ideal_within,
            "ideal_status": case.ideal_status,
            "verdict": "inside" if row.missed is None else "missed",
            "missed": row.missed,
            "why_null": {
                key: _why_null(key, value) for key, value in values.items() if not _is_number(value)
            },
        }
    yield {
        "type": "proof_summary",
        "rows": len(proof.rows),
        "missed": proof.missed,
        "seconds": round(proof.seconds, 3),
        "second_opinion_not_run": proof.no_second_opinion,
    }


def _is_number(value: float | None) -> bool:
    return value is not None and math.isfinite(value)


def _why_null(key: str, value: float | None) -> str:
    if value is not None:
        return "silence"
    return "does not apply" if key.startswith("ideal_") else "not yet"


def _show_progress(done: int, total: int, name: str) -> None:
    print(f"\r\033[K{done} of {total}: {name}", end="", file=sys.stderr, flush=True)


def run(args_json: bool) -> int:
    """Prove, print, and give the exit status: 1 if a row missed or there were none."""
    watched = sys.stderr.isatty()
    proof = prove(_show_progress if watched else None)
    if watched:
        print("\r\033[K", end="", file=sys.stderr, flush=True)
    if args_json:
        for record in as_records(proof):
            print(json.dumps(record))
    else:
        print(render(proof))
    return 0 if proof.passed else 1
