"""What happens in the window: from what the user does to the session, and from what it finds to the parts.

It holds no widget of its own and computes nothing.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import QObject, QTimer, pyqtSignal
from PyQt6.QtGui import QAction, QActionGroup, QKeySequence
from PyQt6.QtWidgets import QApplication, QDialog, QWidget

from meter.capture.records import SourceStatus
from meter.lanes import LANES, flags
from meter.moment import moment_lines, spoken
from meter.now import Now
from meter.phrases import phrases
from meter.soundings import as_text_time
from meter.targets import Target
from ui import caution, help_page
from ui.compact import LANES as COMPACT_LANES
from ui.compact import CompactWindow
from ui.first_paint import FirstPaint
from ui.looks import Wardrobe
from ui.page import Page
from ui.session import Session
from ui.state import THEMES, StateFile
from ui.tempo import TempoDialog
from ui.thinker import PassLine, Thoughts
from ui.time_scale import View
from ui.view_span import NOW, Place, pass_at, view_of
from ui.window import MainWindow

if TYPE_CHECKING:
    from meter.findings import Finding

LOG: Final = logging.getLogger("ui.window")

SAVE_MS: Final = 1500
SENTENCE_EVERY_S: Final = 0.25
THEME_WORDS: Final = {"system": "As the system has it", "light": "Light", "dark": "Dark"}


class Conductor(QObject):
    """Binds the parts together.

    Parameters
    ----------
    session : Session
    state : StateFile
    wardrobe : Wardrobe
    window : MainWindow
    compact : CompactWindow
    """

    misfortune = pyqtSignal(str)
    """One sentence about a mistake of the program; may be emitted from any thread."""

    def __init__(
        self,
        session: Session,
        state: StateFile,
        wardrobe: Wardrobe,
        window: MainWindow,
        compact: CompactWindow,
    ) -> None:
        super().__init__()
        self.session, self.state, self.window, self.compact = session, state, window, compact
        self.wardrobe = wardrobe
        self.place = NOW
        self.actions: dict[str, QAction] = {}
        self.pages: dict[str, Page] = {}
        self._is_compact = False
        self._has_ended = False
        self._moment: int | None = None
        self._sentence_s = 0.0
        self._save = QTimer(self)
        self._save.setSingleShot(True)
        self._save.setInterval(SAVE_MS)
        self._save.timeout.connect(state.save)
        self._make_actions()
        self._bind_window()
        self._bind_session()
        choices = state.choices
        for lanes in (window.lanes, compact.lanes):
            lanes.set_timeline(session.timeline)
            lanes.large = choices.large
        window.lanes.set_lanes(LANES)
        compact.lanes.set_lanes(LANES[:COMPACT_LANES])
        self._show_target(session.target)
        self.actions["large"].setChecked(choices.large)
        window.views.show_view(choices.view)
        self._show_place()
        self._take_now(session.now)

    # --- binding

    def _make_actions(self) -> None:
        bar, views, window = self.window.bar, self.window.views, self.window
        doing: dict[str, Callable[[], object]] = {
            "source": lambda: _open(window.bar.source),
            "target": lambda: _open(window.bar.target),
            "hold": self.toggle_hold,
            "mark": self.session.mark,
            "view_60": lambda: self.choose_view("60 s"),
            "view_600": lambda: self.choose_view("10 min"),
            "view_pass": lambda: self.choose_view("pass"),
            "view_session": lambda: self.choose_view("session"),
            "passes": window.passes.setFocus,
            "lanes": window.lanes.setFocus,
            "findings": self.go_to_findings,
            "live": self.go_live,
            "fold": self.ask_for_tempo,
            "large": lambda: self.make_large(not self.state.choices.large),
            "compact": lambda: self.go_compact(not self._is_compact),
            "theme": self.next_theme,
            "caution": lambda: self.open_page("caution"),
            "help": lambda: self.open_page("help"),
            "quit": self.quit,
        }
        for name, key, what in help_page.KEYS:
            action = QAction(what[:1].upper() + what[1:], self)
            action.setShortcut(QKeySequence(key))
            action.triggered.connect(lambda _=False, name=name: doing[name]())
            self.actions[name] = action
        for name in ("hold", "mark", "large", "compact", "theme", "help", "caution", "quit"):
            self.compact.addAction(self.actions[name])
        window.addActions(list(self.actions.values()))
        for owner in (bar, self.compact):
            owner.hold.clicked.connect(self.toggle_hold)
            owner.mark.clicked.connect(self.session.mark)
        views.fold.clicked.connect(self._fold_clicked)
        views.caution.clicked.connect(lambda: self.open_page("caution"))
        self._fill_menu()

    def _fill_menu(self) -> None:
        menu = self.window.bar.menu
        themes = menu.addMenu("Theme")
        assert themes is not None
        group = QActionGroup(self)
        self.theme_actions: dict[str, QAction] = {}
        for theme in THEMES:
            action = QAction(THEME_WORDS[theme], group)
            action.setCheckable(True)
            action.setChecked(theme == self.state.choices.theme)
            action.triggered.connect(lambda _=False, theme=theme: self.choose_theme(theme))
            themes.addAction(action)
            self.theme_actions[theme] = action
        self.actions["large"].setCheckable(True)
        for name, words in (
            ("large", "Large flags"),
            ("compact", "Small form, on top"),
            ("fold", "Fold by phrase …"),
            ("caution", "About listening level"),
            ("help", "Help"),
            ("quit", "Quit"),
        ):
            self.actions[name].setText(words)
            if name in ("caution", "quit"):
                menu.addSeparator()
            menu.addAction(self.actions[name])

    def _bind_window(self) -> None:
        window, compact = self.window, self.compact
        window.bar.source.chosen.connect(self.choose_source)
        window.bar.target.chosen.connect(self.choose_target)
        window.views.view_chosen.connect(self.choose_view)
        window.views.live_wanted.connect(self.go_live)
        window.passes.now_chosen.connect(self.go_live)
        window.passes.pass_chosen.connect(self.choose_pass)
        window.findings.finding_chosen.connect(self.choose_finding)
        window.empty.demo_wanted.connect(lambda: self.choose_source("demo"))
        window.empty.source_wanted.connect(lambda: _open(window.bar.source))
        window.lanes.moment_chosen.connect(self.choose_moment)
        window.lanes.span_chosen.connect(self.choose_span)
        window.lanes.choice_cleared.connect(self.forget_choice)
        window.lanes.view_changed.connect(self._zoomed)
        compact.back_wanted.connect(lambda: self.go_compact(False))
        for one in (window, compact):
            one.seen_changed.connect(self._look_who_sees)
            one.closed.connect(self.quit)

    def _bind_session(self) -> None:
        session = self.session
        session.now_changed.connect(self._take_now)
        session.thoughts_changed.connect(self._take_thoughts)
        session.load_changed.connect(self._take_load)
        session.problem.connect(self.say)
        session.source_changed.connect(self._source_is_open)
        session.polled.connect(self._tick)
        self.misfortune.connect(self.say)
        hints = QApplication.styleHints()
        if hints is not None:
            hints.colorSchemeChanged.connect(self._system_changed)

    # --- what has come

    @property
    def _is_seen(self) -> bool:
        return self.compact.is_seen if self._is_compact else self.window.is_seen

    def _take_now(self, now: Now) -> None:
        if not self._is_seen:
            return  # `_look_who_sees` calls again
        shown = {lane.key: flags(now, lane) for lane in LANES}
        self._show_sentence()
        if self._is_compact:
            self.compact.show_held(now.is_held)
            self.compact.lanes.set_flags(shown)
            return
        window = self.window
        window.status.show_now(now)
        window.bar.show_held(now.is_held)
        window.bar.source.set_current(now.state.info)
        window.empty.show_now(now, has_heard=bool(self.session.thoughts.passes))
        window.lanes.set_flags(shown if self._shows_now() else {})
        has_engine = self.session.engine is not None
        window.bar.hold.setEnabled(has_engine)
        window.bar.mark.setEnabled(has_engine and now.state.status is not SourceStatus.ENDED)

    def _take_thoughts(self, thoughts: Thoughts) -> None:
        window = self.window
        window.passes.set_passes(thoughts.passes)
        window.findings.set_findings(thoughts.findings)
        window.show_has_findings(bool(thoughts.findings))
        if self.place.free is None:
            self.window.lanes.set_view(self._view())  # a pass has begun, or grown to its end

    def _show_sentence(self) -> None:
        """Also when nothing is new: a sentence stands for a while, and then gives way."""
        self._sentence_s = time.monotonic()
        shown = self.compact if self._is_compact else self.window
        shown.sentence.show_now(self.session.now)

    def _tick(self) -> None:
        if not self._is_seen:
            return
        if time.monotonic() - self._sentence_s >= SENTENCE_EVERY_S:
            self._show_sentence()
        (self.compact.lanes if self._is_compact else self.window.lanes).tick()

    def _take_load(self, load_pct: float) -> None:
        if not self._is_seen:
            return
        self.window.status.show_load(load_pct)
        now, lanes = self.session.now, self.compact.lanes if self._is_compact else self.window.lanes
        timeline = self.session.timeline
        lanes.set_spoken({lane.key: spoken(timeline, lane, flags(now, lane)) for lane in LANES})

    def _source_is_open(self, spec: str) -> None:
        self.window.bar.source.set_current(self.session.now.state.info)
        self._remember(source=spec)

    def _look_who_sees(self) -> None:
        self.session.slow_down(not self._is_seen)
        self._take_now(self.session.now)

    def say(self, sentence: str) -> None:
        """A message that stays until it is closed."""
        if sentence:
            self.window.message.say(sentence)

    # --- what the user does

    def choose_source(self, spec: str) -> None:
        """Listen to another source."""
        self.window.message.hide()
        self.go_live()
        self.session.listen_to(spec)

    def choose_target(self, name: str) -> None:
        """Hold what is heard against another target; empty for none."""
        target = self.window.bar.target.target(name)
        self.session.set_target(target)
        self._show_target(target)
        self._remember(target=name if target is not None else "")

    def _show_target(self, target: Target | None) -> None:
        self.window.bar.target.show_chosen("" if target is None else target.name)
        for lanes in (self.window.lanes, self.compact.lanes):
            lanes.set_target(target)

    def toggle_hold(self) -> None:
        """Hold, or go on."""
        held = self.session.now.is_held
        self.session.hold(not held)
        for one in (self.window.bar, self.compact):
            one.show_held(not held if self.session.engine is not None else held)

    def choose_view(self, view: str) -> None:
        """Show more or less of the time, around what is shown now."""
        self._remember(view=view)
        self._fold(False)
        if self.place.free is not None or self.place.pass_number is not None:
            self.place = NOW if self._moment is None else Place(slot=self._moment)
        self._show_place()

    def go_live(self) -> None:
        """Back to what sounds now; nothing is chosen any more."""
        self.window.message.hide()
        self.place = NOW
        self.window.passes.show_now()
        self.window.findings.forget_choice()
        self.window.lanes.select(None)
        self._fold(False)
        self._show_moment(None)
        self._show_place()

    def choose_pass(self, chosen: PassLine) -> None:
        """Draw this pass."""
        self._fold(False)
        self.place = Place(pass_number=chosen.number)
        self._show_place()

    def choose_finding(self, finding: Finding) -> None:
        """Move every lane there."""
        self._fold(False)
        self.place = Place(slot=(finding.first_slot + finding.last_slot) // 2)
        self._show_place()
        self.window.lanes.select(finding.first_slot, finding.last_slot)
        # At its beginning a window of 3 s tells of what was before.
        middle = (finding.first_slot + finding.last_slot) // 2
        self._show_moment(middle if finding.at_slot == finding.first_slot else finding.at_slot)

    def choose_moment(self, slot: int) -> None:
        """Show the numbers of this moment; the lanes stay where they are."""
        self.window.findings.forget_choice()
        self.window.show_findings()
        self._show_moment(slot)

    def choose_span(self, first_slot: int, last_slot: int) -> None:
        """Show the numbers of where the span begins."""
        self.choose_moment(first_slot)

    def go_to_findings(self) -> None:
        """Show them if they are not, and go there with the keyboard."""
        self.window.show_findings()
        self.window.findings.setFocus()
        if self.window.findings.currentRow() < 0:
            self.window.findings.setCurrentRow(0)

    def forget_choice(self) -> None:
        """No moment is chosen any more; the lanes stay where they are."""
        self.window.findings.forget_choice()
        self._show_moment(None)

    def _zoomed(self, view: View) -> None:
        self.place = Place(free=view)
        self._show_place()

    def _show_moment(self, slot: int | None) -> None:
        self._moment = slot
        lines = None if slot is None else moment_lines(self.session.timeline, slot)
        found = None if slot is None else self.session.timeline.place(slot)
        if lines and slot is not None and found is not None:
            one = pass_at(slot, self.session.thoughts.passes)
            of_pass = "" if one is None else f", pass {one.number}"
            lines[0] = f"{as_text_time(found[1])}{of_pass}"
        self.window.moment.show_lines(lines)
        self.window.views.show_is_live(self.place == NOW and slot is None)

    def _view(self) -> View:
        session = self.session
        return view_of(self.place, self.state.choices.view, session.thoughts.passes, session.timeline)

    def _shows_now(self) -> bool:
        return not self.place.is_folded and self._view().is_live

    def _show_place(self) -> None:
        """Bring the lanes to where the user is."""
        window = self.window
        window.lanes.set_view(self._view())
        window.views.show_view(None if self.place.free is not None else self.state.choices.view)
        window.views.show_is_live(self.place == NOW and self._moment is None)
        self._take_now(self.session.now)

    # --- fold by phrase

    def _fold_clicked(self, wanted: bool) -> None:
        if wanted:
            self.ask_for_tempo()
        else:
            self._fold(False)

    def ask_for_tempo(self) -> None:
        """Ask for tempo and downbeat, and fold."""
        choices = self.state.choices
        dialog = TempoDialog(choices.bpm, choices.downbeat_s, self._moment_s(), self.window)
        dialog.finished.connect(lambda result: self._take_tempo(dialog, result))
        dialog.open()
        self.dialog = dialog

    def _moment_s(self) -> float | None:
        if self._moment is None:
            return None
        found = self.session.timeline.place(self._moment)
        return None if found is None else found[1]

    def _take_tempo(self, dialog: TempoDialog, result: int) -> None:
        if result == QDialog.DialogCode.Accepted:
            self._remember(bpm=dialog.bpm.value(), downbeat_s=dialog.downbeat.value())
            self._fold(True)
        else:
            self.window.views.fold.setChecked(self.place.is_folded)

    def _fold(self, on: bool) -> None:
        lanes = self.window.lanes
        one = self.window.passes.chosen or self.window.passes.newest
        if self.place.is_folded:
            self.place = Place(pass_number=self.place.pass_number)
        if not on or one is None:
            lanes.set_phrases(None)
            self.window.views.fold.setChecked(False)
            if on:
                self.say("there is no pass to fold yet; play the tune first")
            return
        choices = self.state.choices
        last = self.session.timeline.slots if one.last_slot is None else one.last_slot
        slices = phrases(one.first_slot, last, choices.bpm, choices.downbeat_s)
        if len(slices) < 2:
            self._fold(False)
            self.say(
                "this pass is shorter than two phrases of 16 bars at this tempo; there is nothing to fold"
            )
            return
        self.place = Place(pass_number=one.number, is_folded=True)
        self.window.passes.show_pass(one)
        self.window.views.fold.setChecked(True)
        self._show_place()
        lanes.set_phrases(slices)

    # --- how it looks

    def make_large(self, on: bool) -> None:
        """Flags that can be read across the room."""
        for lanes in (self.window.lanes, self.compact.lanes):
            lanes.large = on
        self.actions["large"].setChecked(on)
        self._remember(large=on)

    def choose_theme(self, theme: str) -> None:
        """Light, dark, or as the system has it."""
        self._remember(theme=theme)
        self.theme_actions[theme].setChecked(True)
        self.dress()

    def _system_changed(self) -> None:
        if self.state.choices.theme == "system":
            self.dress()

    def next_theme(self) -> None:
        """The next of the three."""
        at = THEMES.index(self.state.choices.theme)
        self.choose_theme(THEMES[(at + 1) % len(THEMES)])

    def dress(self) -> None:
        """Give everything the chosen theme."""
        self.wardrobe.dress(self.state.choices.theme, (self.window.lanes, self.compact.lanes))

    def go_compact(self, on: bool) -> None:
        """The small form instead of the window, or back."""
        if on == self._is_compact:
            return
        self._is_compact = on
        self._remember(compact=on)
        shown, hidden = (self.compact, self.window) if on else (self.window, self.compact)
        shown.show()
        hidden.hide()
        self._take_now(self.session.now)

    def open_page(self, name: str) -> None:
        """The help, or the page about listening level."""
        if name not in self.pages:
            self.pages[name] = caution.page() if name == "caution" else help_page.page()
        page = self.pages[name]
        page.show()
        page.raise_()
        page.activateWindow()

    # --- the end

    def _remember(self, **changes: object) -> None:
        self.state.remember(**changes)
        self._save.start()

    def quit(self) -> None:
        """Remember, end the session cleanly, end the program."""
        if self._has_ended:
            return
        self._has_ended = True
        self._save.stop()
        self.state.remember(geometry=_geometry(self.window), compact_geometry=_geometry(self.compact))
        self.state.save()
        for widget in (self.window, self.compact, *self.pages.values()):
            widget.hide()
        self.session.stop()
        QApplication.quit()

    def show(self, first: FirstPaint | None = None) -> None:
        """Show the form that was open at last, where it was."""
        self.dress()
        choices = self.state.choices
        if first is not None:
            first.watch(self.compact if choices.compact else self.window)
        for widget, kept in ((self.window, choices.geometry), (self.compact, choices.compact_geometry)):
            if kept:
                widget.restoreGeometry(bytes.fromhex(kept))
        if choices.compact:
            self._is_compact = True
            self.compact.show()
        else:
            self.window.show()
        self._look_who_sees()

    def begin(self, spec: str) -> None:
        """Listen, from now on."""
        self.session.start()
        self.session.listen_to(spec)
        self.window.bar.source.look_around()


def _geometry(widget: QWidget) -> str:
    return bytes(widget.saveGeometry().data()).hex()


def _open(chooser: QWidget) -> None:
    chooser.setFocus()
    chooser.showPopup()  # type: ignore[attr-defined]
