"""What the tests of capture share: scenes in real time, played all at once."""

from __future__ import annotations

import pytest

from tests.support.scenes import _stage, scene

__all__ = ["_stage", "scene"]


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line(
        "markers", "scene(play, *arguments): what the test looks at; tests/support/scenes.py"
    )
