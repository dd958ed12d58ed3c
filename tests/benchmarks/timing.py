"""Interleaved timing: each round runs every rival once, so that what disturbs one disturbs all."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from statistics import median

Clock = Callable[[], float]


@dataclass(frozen=True, slots=True)
class Comparison:
    """Seconds of each round, by rival."""

    seconds: Mapping[str, tuple[float, ...]]

    def times_real_time(self, name: str, audio_s: float) -> float:
        """How many seconds of audio pass in one second, by the median round."""
        return audio_s / median(self.seconds[name])

    def ratio(self, name: str, against: str) -> float:
        """How many times faster than the other: the median of the rounds' own ratios."""
        pairs = zip(self.seconds[against], self.seconds[name], strict=True)
        return median(other / own for other, own in pairs)


def compare(
    rivals: Mapping[str, Callable[[], object]], *, rounds: int, clock: Clock = time.perf_counter
) -> Comparison:
    """Run every rival `rounds` times, in turn; one round before that counts for nothing."""
    taken: dict[str, list[float]] = {name: [] for name in rivals}
    for round_ in range(rounds + 1):
        for name, run in rivals.items():
            before = clock()
            run()
            if round_:
                taken[name].append(clock() - before)
    return Comparison({name: tuple(seconds) for name, seconds in taken.items()})
