"""Calls that may never come back."""

from __future__ import annotations

import threading

import pytest

from meter.capture.abandon import Abandoned, within


def test_a_call_gives_what_it_returns():
    assert within(10.0, lambda: 7) == 7


def test_a_call_raises_what_it_raises():
    def call() -> None:
        raise LookupError("gone")

    with pytest.raises(LookupError, match="gone"):
        within(10.0, call)


def test_a_call_that_hangs_is_left_behind_and_what_it_made_later_is_undone():
    may_go, undone, made = threading.Event(), threading.Event(), []

    def call() -> str:
        may_go.wait()
        return "a stream"

    def undo(stream: str) -> None:
        made.append(stream)
        undone.set()

    with pytest.raises(Abandoned):
        within(0.01, call, undo=undo)
    assert not made
    may_go.set()
    assert undone.wait(10.0)
    assert made == ["a stream"]


def test_what_came_in_time_is_not_undone():
    undone = []
    assert within(10.0, lambda: "a stream", undo=undone.append) == "a stream"
    assert not undone
