"""Findings as a list for people: what is slight is only counted, what was said already is not said again."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from typing import Final, Protocol

from meter.findings.records import SLIGHT

LEAST_SAID: Final = 40
"""An end of a sentence with fewer characters is no shorter as "as above"."""

_BREAK: Final = re.compile(r"[,:;] ")


class Told(Protocol):
    """What is needed of a finding."""

    @property
    def kind(self) -> str:
        """One of `KINDS`."""

    @property
    def severity(self) -> float:
        """Excess times seconds."""

    @property
    def text(self) -> str:
        """The sentence."""


def listed(findings: Iterable[Told]) -> list[str]:
    """A sentence each, in their order."""
    said: dict[str, list[str]] = defaultdict(list)
    texts, slight = [], 0
    for one in findings:
        if one.severity < SLIGHT.get(one.kind, 0.0):
            slight += 1
            continue
        texts.append(_shortened(one.text, said[one.kind]))
        said[one.kind].append(one.text)
    if slight:
        ones = "1 slight one is" if slight == 1 else f"{slight} slight ones are"
        texts.append(f"{ones} left out here; --json has all")
    return texts


def _shortened(text: str, said: list[str]) -> str:
    for found in _BREAK.finditer(text):
        end = text[found.start() :]
        if len(end) < LEAST_SAID:
            break
        if any(one.endswith(end) for one in said):
            return f"{text[: found.start()]}: as above"
    return text
