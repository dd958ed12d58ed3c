"""Blocks that can be measured at once, blocks that need care, and lasting silence."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.dsp.runs import QUIET_BLOCKS, RunPlanner

KINDS = {"sound": 0.5, "faint": 1e-45, "silence": 0.0, "nan": np.nan, "huge": 1e30}


def frames_of(kinds: list[str]) -> np.ndarray:
    """Blocks of four frames of two channels; one sample decides what a block is."""
    blocks = np.zeros((len(kinds), 8), np.float32)
    blocks[:, 5] = [KINDS[kind] for kind in kinds]
    return blocks.reshape(-1, 2)


def kinds_found(planner: RunPlanner, kinds: list[str]) -> list[tuple[bool, bool]]:
    """(is unclean, is quiet) of every block, from the runs."""
    runs = planner.plan(frames_of(kinds), len(kinds))
    assert [run.first for run in runs] == list(np.cumsum([0, *(run.count for run in runs)])[:-1])
    return [(run.is_unclean, run.is_quiet) for run in runs for _ in range(run.count)]


def test_clean_blocks_are_one_run():
    (run,) = RunPlanner().plan(frames_of(["sound", "faint", "silence", "sound"]), 4)
    assert (run.count, run.is_unclean, run.is_quiet) == (4, False, False)


@pytest.mark.parametrize("bad", ["nan", "huge"])
def test_an_unclean_block_comes_alone(bad):
    runs = RunPlanner().plan(frames_of(["sound", bad, bad, "sound"]), 4)
    assert [(run.count, run.is_unclean) for run in runs] == [(1, False), (1, True), (1, True), (1, False)]


def test_silence_is_quiet_after_half_a_second_and_only_when_digital():
    planner = RunPlanner()
    found = kinds_found(planner, ["sound", *["silence"] * (QUIET_BLOCKS + 3), "faint", "silence"])
    assert [is_quiet for _, is_quiet in found] == [False] * (QUIET_BLOCKS + 1) + [True] * 3 + [False] * 2


@given(
    kinds=st.lists(st.sampled_from([*KINDS, *["silence"] * 12]), min_size=1, max_size=60),
    cut=st.integers(0, 60),
)
def test_the_decision_does_not_depend_on_the_cutting(kinds, cut):
    cut = min(cut, len(kinds))
    planner = RunPlanner()
    parts = [kinds_found(planner, part) for part in (kinds[:cut], kinds[cut:]) if part]
    assert [kind for part in parts for kind in part] == kinds_found(RunPlanner(), kinds)


def test_reset_forgets_the_silence():
    planner = RunPlanner()
    kinds_found(planner, ["silence"] * 50)
    planner.reset()
    assert kinds_found(planner, ["silence"]) == [(False, False)]
