"""Scenes that take real time, played all at once, each on servers of its own.

A test names its scene with `plays`; the first test that wants one starts those of all tests that
were chosen to run, and each test waits for its own only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor, wait
from typing import Any, Final

import pytest

AT_ONCE: Final = 18
"""Mostly they wait; more of them at a time would make one another late."""


def plays(scene: Callable[..., Any], *arguments: Any, alone: bool = False) -> pytest.MarkDecorator:
    """Marks a test: the fixture `scene` gives it what this scene, called with these arguments, returned.

    One that must be alone waits for the end of all others: without real-time rights JACK skips time on
    a machine that is busy.
    """
    return pytest.mark.scene.with_args(scene, *arguments, alone=alone)


@pytest.fixture(scope="session")
def _stage(request: pytest.FixtureRequest) -> Iterator[dict[Any, Future[Any]]]:
    """Every scene that a chosen test wants, running."""
    marks = [mark for item in request.session.items for mark in item.iter_markers("scene")]
    wanted = {mark.args: None for mark in marks if not mark.kwargs["alone"]}
    with ThreadPoolExecutor(AT_ONCE) as pool:
        yield {arguments: pool.submit(*arguments) for arguments in wanted}


@pytest.fixture
def scene(request: pytest.FixtureRequest, _stage: dict[Any, Future[Any]]) -> Any:
    """What the scene of this test returned; its error is the test's."""
    mark = request.node.get_closest_marker("scene")
    assert mark is not None, "name the scene: @plays(...)"
    if mark.kwargs["alone"]:
        wait(_stage.values())
        play, *arguments = mark.args
        return play(*arguments)
    return _stage[mark.args].result()
