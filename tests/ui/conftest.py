"""What the tests of the window share: a platform without a screen, the font, a made-up source."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest

if not os.environ.get("DISPLAY"):
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from meter.target_file import shipped_targets
from tests.support.fake_source import FakeSource
from tests.support.listed_sources import LISTED
from tests.support.sound import noise
from ui import fonts
from ui.app import build

PART_FRAMES = 4 * 48_000
"""Brought at once: a ring holds 15 s of it."""

WITHIN_MS = 20_000
"""A limit for what must happen at all, not for how quickly."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The platform without a screen complains that it has no window manager."""
    here = os.path.dirname(__file__)
    for item in items:
        if str(item.path).startswith(here):
            item.add_marker(pytest.mark.qt_log_ignore("This plugin does not support", extend=True))


@pytest.fixture(autouse=True)
def app(qapp: Any) -> Any:
    """The application, with its font."""
    assert fonts.load() is None
    return qapp


class Scene:
    """A window that listens to made-up sources.

    Attributes
    ----------
    sources : dict
        By how they are written; an exception is raised instead of opening it.
    asked : list of str
        What was to be opened.
    """

    def __init__(self, app: Any, qtbot: Any, target: str = "club", **how: Any) -> None:
        self.qtbot = qtbot
        self.source = FakeSource(spec="system", name="what the system plays")
        self.sources: dict[str, Any] = {"system": self.source}
        self.asked: list[str] = []
        self.targets = shipped_targets()
        self.conductor = build(
            app,
            self.targets,
            target=self.targets.get(target),
            has_target=True,
            open_source=self._open,
            list_sources=lambda: LISTED,
            file_workers=0,
            **how,
        )
        self.window, self.session = self.conductor.window, self.conductor.session
        self.compact, self.state = self.conductor.compact, self.conductor.state
        self.timeline = self.session.timeline

    def _open(self, spec: str) -> Any:
        self.asked.append(spec)
        found = self.sources[spec]
        if isinstance(found, Exception):
            raise found
        return found

    def start(self, spec: str = "system") -> Scene:
        """Show it and listen."""
        self.conductor.show()
        self.conductor.begin(spec)
        return self

    def until(self, is_so: Callable[[], Any]) -> None:
        """Go on until it is so."""
        self.qtbot.waitUntil(lambda: bool(is_so()), timeout=WITHIN_MS)

    def until_open(self) -> Scene:
        """Go on until the engine runs and the window knows."""
        self.until(lambda: self.session.engine is not None and self.session.now.rate_hz is not None)
        return self

    def play(self, samples: Any, source: FakeSource | None = None) -> None:
        """Bring this to the source, and go on until it has been measured."""
        source = self.source if source is None else source
        # What was commanded before is done before: the engine may else read all of it first.
        self.until(lambda: self.session.engine is None or self.session.engine._commands.empty())
        at = 0
        while at < len(samples):
            part = samples[at : at + PART_FRAMES]
            wanted = self.timeline.slots + len(part) // 4800 - 1
            source.bring(part)
            self.until(lambda wanted=wanted: self.timeline.slots >= wanted)
            at += len(part)

    def play_music(self, seconds: float, level_dbfs: float = -22.0) -> None:
        """Bring so much noise."""
        self.play(noise(seconds, seed=3, level_dbfs=level_dbfs))

    def play_silence(self, seconds: float) -> None:
        """Bring so much silence."""
        self.play(np.zeros((round(seconds * 48_000), 2), np.float32))

    def said(self) -> str:
        """The sentence."""
        return self.window.sentence.text()


@pytest.fixture
def make_scene(app: Any, qtbot: Any) -> Iterator[Callable[..., Scene]]:
    """Makes scenes, and ends them."""
    made: list[Scene] = []

    def make(**how: Any) -> Scene:
        made.append(Scene(app, qtbot, **how))
        return made[-1]

    yield make
    for scene in made:
        scene.conductor.quit()
        for widget in (scene.window, scene.compact, *scene.conductor.pages.values()):
            widget.deleteLater()


@pytest.fixture
def scene(make_scene: Callable[..., Scene]) -> Scene:
    """One that listens to an open source that has brought nothing yet."""
    return make_scene().start().until_open()
