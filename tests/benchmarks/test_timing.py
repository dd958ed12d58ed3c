"""The benchmarks' own arithmetic, and that each rival measures the whole file."""

from __future__ import annotations

import re

import pytest

from tests.benchmarks import __main__ as benchmarks
from tests.benchmarks import live, material, rivals
from tests.benchmarks.timing import Comparison, compare


def test_a_ratio_is_the_median_of_the_rounds_own_ratios():
    found = Comparison({"a": (1.0, 2.0, 8.0), "b": (3.0, 2.0, 8.0)})
    assert found.ratio("a", "b") == 1.0
    assert found.ratio("b", "a") == 1.0
    assert Comparison({"a": (1.0,), "b": (3.0,)}).ratio("a", "b") == 3.0
    assert found.times_real_time("a", 10.0) == 5.0


def test_rivals_take_turns_and_the_first_round_does_not_count():
    calls, ticks = [], iter(range(100))
    found = compare(
        {"a": lambda: calls.append("a"), "b": lambda: calls.append("b")},
        rounds=2,
        clock=lambda: float(next(ticks)),
    )
    assert calls == ["a", "b"] * 3
    assert found.seconds == {"a": (1.0, 1.0), "b": (1.0, 1.0)}


@pytest.mark.parametrize("form", material.FORMS)
def test_every_rival_measures_a_file_of_every_form(tmp_path, form):
    path = material.write(tmp_path, form, seconds=2.0)
    for run in (
        rivals.ffmpeg_peak,
        rivals.levels_and_true_peak,
        rivals.whole_chain,
        rivals.as_check_runs,
    ):
        run(path)


def test_the_paced_run_costs_something_and_less_than_a_core():
    assert 0.0 < live.share_of_a_core_pct(seconds=0.5) < 100.0


def test_it_says_which_kernels_run_and_what_chose_them(monkeypatch):
    monkeypatch.setenv("OPENBLAS_CORETYPE", "Slow")
    assert re.match(r"matrix products: .+ 1 thread \(OPENBLAS_CORETYPE=Slow\); FFmpeg ", benchmarks.machine())
    monkeypatch.delenv("OPENBLAS_CORETYPE")
    assert re.search(r" 1 thread; FFmpeg \S+; load before the run: \d", benchmarks.machine())
