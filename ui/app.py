"""From the arguments to the open window, and from its end to the exit status.

The window is painted before anything that measures is imported: that takes a second, in a thread.
"""

from __future__ import annotations

import logging
import signal
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Final

from meter.settings import TARGETS_FILE, folders
from meter.target_file import find_target, load_targets
from meter.targets import Target
from ui import log
from ui.screen_check import NoWindow, let_go, why_no_window

if TYPE_CHECKING:
    from PyQt6.QtWidgets import QApplication

    from meter.capture.records import SourceInfo
    from meter.capture.source import Source
    from ui.conductor import Conductor

LOG: Final = logging.getLogger("ui.app")

NAME: Final = "Leadline"
SWITCH_S: Final = 0.0005
"""Threads give way sooner than by themselves, so that the first paint does not wait for imports."""
SETTLED_MS: Final = (4_000, 20_000, 120_000)
"""When what the program is made of is there: at first, and what is loaded only when it is needed."""


def run(
    source_spec: str | None = None,
    target_name: str | None = None,
    *,
    paths: Sequence[str] = (),
    keeps: bool = True,
) -> int:
    """Show the window until it is closed.

    Parameters
    ----------
    source_spec, target_name : str, optional
        What to listen to, and against what; as remembered when not given.
    paths : sequence of str
        Files and folders to measure and show.
    keeps : bool
        What is heard live goes into the journal.

    Returns
    -------
    int
        The exit status: 0.

    Raises
    ------
    NoWindow
        One sentence: there is no display, Qt cannot be loaded, or the font is missing.
    MeterError
        There is no such target, or the settings folder is none.
    """
    why = why_no_window()
    if why is None:
        from ui import fonts

        why = fonts.why_missing()
    if why is not None:
        raise NoWindow(why)
    sys.setswitchinterval(SWITCH_S)
    loaded = load_targets(folders().settings / TARGETS_FILE)
    wanted = None if target_name is None else find_target(target_name, loaded.targets)
    log.start()
    app = _application()
    let_go()
    conductor = build(
        app, loaded.targets, spec=source_spec, target=wanted, has_target=target_name is not None, keeps=keeps
    )
    from meter.window_text import together

    problems = together(conductor.state.problem, loaded.problem)
    return _live(app, conductor, source_spec or conductor.state.choices.source, paths, problems)


def _application() -> QApplication:
    from PyQt6.QtWidgets import QApplication

    from ui import fonts
    from ui.icon import icon
    from ui.memory import use_one_arena

    use_one_arena()
    app = QApplication([NAME])
    app.setApplicationName(NAME)
    app.setDesktopFileName("leadline")
    app.setQuitOnLastWindowClosed(False)
    problem = fonts.load()
    if problem is not None:
        raise NoWindow(problem)
    app.setWindowIcon(icon())
    return app


def build(
    app: QApplication,
    targets: Mapping[str, Target],
    *,
    spec: str | None = None,
    target: Target | None = None,
    has_target: bool = False,
    open_source: Callable[[str], Source] | None = None,
    list_sources: Callable[[], list[SourceInfo]] | None = None,
    file_workers: int | None = None,
    keeps: bool = False,
) -> Conductor:
    """All parts, bound together and dressed; nothing is shown or heard yet.

    Parameters
    ----------
    app : QApplication
        With its font loaded.
    targets : mapping
        All there are, by name.
    spec : str, optional
        What will be listened to; as remembered when not given.
    target : Target or None
        What to hold against, if `has_target`; as remembered otherwise.
    open_source, list_sources : callable, optional
        Other ways to a source and to all there are, for tests.
    file_workers : int, optional
        Processes that measure files, 0: none but this one.
    keeps : bool
        What is heard live goes into the journal.
    """
    from ui.choosers import SourceChooser, TargetChooser
    from ui.compact import CompactWindow
    from ui.conductor import Conductor
    from ui.files_opener import FilesOpener
    from ui.looks import Wardrobe
    from ui.low_end_desk import settings_of
    from ui.session import Session, open_any
    from ui.state import StateFile
    from ui.window import MainWindow

    state = StateFile()
    if not has_target:
        target = targets.get(state.choices.target)
    wardrobe = Wardrobe(app)
    wardrobe.dress(state.choices.theme, ())
    chooser = TargetChooser()
    chooser.set_targets(targets)
    window = MainWindow(SourceChooser(list_sources), chooser)
    session = Session(
        spec=spec or state.choices.source,
        target=target,
        crossover_hz=settings_of(state).crossover_hz,
        open_source=open_source or open_any,
        keeps=keeps,
    )
    opener = FilesOpener(workers=file_workers)
    return Conductor(session, state, wardrobe, window, CompactWindow(), opener)


def begin(conductor: Conductor, spec: str, paths: Sequence[str], problems: str) -> None:
    """Listen, measure these files, and tell what is wrong with the settings."""
    conductor.begin(spec)
    conductor.desk.open(paths)
    conductor.say(problems)  # last: what is opened takes older messages away


def _live(
    app: QApplication, conductor: Conductor, spec: str, paths: Sequence[str], problems: str = ""
) -> int:
    from PyQt6.QtCore import QTimer

    from ui.first_paint import FirstPaint
    from ui.memory import leave_what_stays

    mishaps = log.Mishaps(conductor.misfortune.emit)
    mishaps.watch()
    before = {
        number: signal.signal(number, lambda *_: conductor.quit())
        for number in (signal.SIGINT, signal.SIGTERM)
    }

    def first_painted() -> None:
        begin(conductor, spec, paths, problems)
        for after_ms in SETTLED_MS:
            QTimer.singleShot(after_ms, leave_what_stays)

    first = FirstPaint(first_painted)
    try:
        conductor.show(first)
        return app.exec()
    finally:
        conductor.quit()
        for number, handler in before.items():
            signal.signal(number, handler)
        mishaps.leave()
