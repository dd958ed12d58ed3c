"""Pictures of the window, to be looked at: ``python -m tests.support.screenshots OUT_DIR [FILE...]``.

The demo tune is shown in every state, without a screen; audio files that are named are shown too.
Each scaling is a process of its own, because Qt takes it once for all.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

SCALES = (1, 2, 3)
SIZE = (1040, 580)


def main():
    """Make all pictures."""
    folder, files = Path(sys.argv[1]), sys.argv[2:]
    for scale in SCALES:
        env = os.environ | {"QT_QPA_PLATFORM": "offscreen", "QT_SCALE_FACTOR": str(scale)}
        subprocess.run(
            [sys.executable, "-m", "tests.support.screenshots", "--scale", str(scale), folder, *files],
            env=env,
            check=True,
        )


def draw(folder, scale, files):
    """Make the pictures of one scaling."""
    from PyQt6.QtWidgets import QApplication

    from tests.support.window_scene import Scene
    from ui import fonts

    folder.mkdir(parents=True, exist_ok=True)
    app = QApplication(["screenshots"])
    assert fonts.load() is None
    scene = Scene()
    for name, take in states(scene, scale):
        print(save(take, folder / f"{name}-{scale}00.png", app))
    for file in files if scale == 1 else ():
        for take_name, take in music_states(Scene(f"file:{file}")):
            print(save(take, folder / f"music-{Path(file).stem.replace(' ', '-')}-{take_name}.png", app))


def save(take, path, app):
    """Make one picture."""
    lanes = take()
    lanes.show()
    app.processEvents()
    lanes.tick()
    assert lanes.grab().save(str(path)), f"{path} cannot be written"
    lanes.close()
    lanes.deleteLater()
    return path.name


def states(scene, scale):
    """Name and maker of each state of the lanes."""
    from demo_signals import BPM, FIRST_DOWNBEAT_S
    from meter.phrases import phrases
    from ui.theme import DARK, LIGHT
    from ui.time_scale import View

    end = scene.timeline.slots
    whole = View.part(0, end)
    folded = phrases(0, end, BPM, FIRST_DOWNBEAT_S)
    yield "light-60s", lambda: lanes(scene, LIGHT, slot=640)
    yield "dark-60s", lambda: lanes(scene, DARK, slot=640)
    if scale == 1:
        yield "light-pass", lambda: lanes(scene, LIGHT, view=whole)
        yield "dark-pass", lambda: lanes(scene, DARK, view=whole)
        yield "light-10min", lambda: lanes(scene, LIGHT, view=View.newest(600.0))
        yield "dark-growing", lambda: lanes(scene, DARK, slot=900, view=View.part(0))
        yield "light-moment", lambda: lanes(scene, LIGHT, view=whole, choice=(640, None))
        yield "dark-span", lambda: lanes(scene, DARK, view=whole, choice=(556, 666))
        yield "light-fold", lambda: lanes(scene, LIGHT, phrases=folded)
        yield "dark-fold", lambda: lanes(scene, DARK, phrases=folded)
        yield "light-over", lambda: lanes(scene, LIGHT, slot=1445)
        yield "light-start", lambda: lanes(scene, LIGHT, slot=50)
    yield "light-large", lambda: lanes(scene, LIGHT, slot=1440, is_large=True)
    yield "dark-narrow", lambda: lanes(scene, DARK, slot=640, size=(420, 300))
    yield "light-compact", lambda: lanes(scene, LIGHT, slot=640, size=(420, 180), keys=("loudness", "mono"))
    yield "light-empty", lambda: empty(LIGHT)


def music_states(scene):
    """Name and maker of each picture of a piece of music."""
    from ui.theme import DARK, LIGHT
    from ui.time_scale import View

    end = scene.timeline.slots
    yield "pass", lambda: lanes(scene, LIGHT, view=View.part(0, end))
    yield "60s", lambda: lanes(scene, DARK, slot=end // 2)


def lanes(
    scene, theme, *, slot=None, view=None, choice=None, phrases=None, is_large=False, size=SIZE, keys=None
):
    """The lanes in one state."""
    from meter.lanes import LANES
    from ui.lane_view import LanesView

    made = LanesView()
    made.resize(*size)
    made.set_theme(theme)
    scene.dress(made, slot)
    if keys:
        made.set_lanes([lane for lane in LANES if lane.key in keys])
    made.large = is_large
    if view is not None:
        made.set_view(view)
    made.set_phrases(phrases)
    if choice is not None:
        made.select(*choice)
    return made


def empty(theme):
    """The lanes before anything was heard."""
    from meter.capture.records import SourceInfo, SourceState, SourceStatus
    from meter.lanes import LANES, flags
    from meter.now import Now
    from ui.lane_view import LanesView

    info = SourceInfo(spec="system", name="what the system plays")
    now = Now(state=SourceState(status=SourceStatus.RUNNING, sentence=None, info=info))
    made = LanesView()
    made.resize(*SIZE)
    made.set_theme(theme)
    made.set_lanes(LANES)
    made.set_flags({lane.key: flags(now, lane) for lane in LANES})
    return made


if __name__ == "__main__":
    if sys.argv[1] == "--scale":
        draw(Path(sys.argv[3]), int(sys.argv[2]), sys.argv[4:])
    else:
        main()
