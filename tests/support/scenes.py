"""Scenes that take real time, played all at once, each on servers of its own.

A test names its scene with `plays`; the first test that wants one starts those of all tests that
were chosen to run, and each test waits for its own only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, Final

import pytest

AT_ONCE: Final = 18
"""Mostly they wait; more of them at a time would make one another late."""


def plays(scene: Callable[..., Any], *arguments: Any) -> pytest.MarkDecorator:
    """Marks a test: the fixture `scene` gives it what this scene, called with these arguments, returned."""
    return pytest.mark.scene.with_args(scene, *arguments)


@pytest.fixture(scope="session")
def _stage(request: pytest.FixtureRequest) -> Iterator[dict[Any, Future[Any]]]:
    """Every scene that a chosen test wants, running."""
    wanted = {mark.args: None for item in request.session.items for mark in item.iter_markers("scene")}
    with ThreadPoolExecutor(AT_ONCE) as pool:
        yield {arguments: pool.submit(*arguments) for arguments in wanted}


@pytest.fixture
def scene(request: pytest.FixtureRequest, _stage: dict[Any, Future[Any]]) -> Any:
    """What the scene of this test returned; its error is the test's."""
    mark = request.node.get_closest_marker("scene")
    assert mark is not None, "name the scene: @plays(...)"
    return _stage[mark.args].result()
