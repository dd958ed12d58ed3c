"""What happens in the window: from what the user does to the session, and from what it finds to the parts.

It holds no widget of its own and computes nothing.
"""

from __future__ import annotations

import logging
import time
from dataclasses import replace
from typing import Final

from PyQt6.QtCore import QObject, QTimer, pyqtSignal
from PyQt6.QtWidgets import QApplication, QWidget

from meter.arrangements import ARRANGEMENTS, arrangement_of
from meter.capture.records import SourceStatus
from meter.exposure.lanes import WORDS
from meter.lanes import LANES, Lane, flags, lanes_for
from meter.low_end.lanes import low_end_spoken
from meter.moment import spoken
from meter.now import Now
from meter.targets import Target
from ui import caution, help_page, keys
from ui.choosers import Chooser
from ui.compact import LANES as COMPACT_LANES
from ui.compact import CompactWindow
from ui.delivery_desk import DeliveryDesk
from ui.earlier_desk import EarlierDesk
from ui.files_desk import FilesDesk
from ui.files_opener import FilesOpener
from ui.first_paint import FirstPaint
from ui.hearing_desk import HearingDesk
from ui.looks import Wardrobe
from ui.low_end_desk import LowEndDesk
from ui.navigator import Navigator
from ui.page import Page
from ui.session import RETRIED, Session
from ui.set_desk import SetDesk
from ui.shelf_desk import ShelfDesk
from ui.state import THEMES, StateFile
from ui.thinker import Thoughts
from ui.together_desk import TogetherDesk
from ui.window import MainWindow

LOG: Final = logging.getLogger("ui.window")

SAVE_MS: Final = 1500
SENTENCE_EVERY_S: Final = 0.25


class Conductor(QObject):
    """Binds the parts together.

    Parameters
    ----------
    session : Session
    state : StateFile
    wardrobe : Wardrobe
    window : MainWindow
    compact : CompactWindow
    opener : FilesOpener, optional
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
        opener: FilesOpener | None = None,
    ) -> None:
        super().__init__()
        self.session, self.state, self.window, self.compact = session, state, window, compact
        self.wardrobe = wardrobe
        self.going = Navigator(session, state, window)
        self.desk = FilesDesk(session, state, window, self.going, opener or FilesOpener())
        self.shelf = ShelfDesk(window, self.going)
        self.earlier = EarlierDesk(self.desk)
        self.delivery = DeliveryDesk(session, state, window, self.desk, apart=self.desk.opener.is_apart)
        self.low_end = LowEndDesk(session, state, window, self.going)
        session.set_low_end(self.low_end.settings)
        self.together = TogetherDesk(state, window)
        self.of_set = SetDesk(session, state, window, self.desk)
        self.hearing = HearingDesk(session, state, window)
        self._is_of_ears = False
        self._plays_out = self._is_between = False
        self.pages: dict[str, Page] = {}
        self._is_compact = False
        self._has_ended = False
        self._sentence_s = 0.0
        self._lanes: tuple[Lane, ...] = ()
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
        self._show_target(session.target)
        self.actions["large"].setChecked(choices.large)
        self.going.show()

    # --- binding

    def _make_actions(self) -> None:
        window, going = self.window, self.going
        self.actions = keys.make_actions(
            self,
            {
                "source": lambda: open_list(window.bar.source),
                "target": lambda: open_list(window.bar.target),
                **self.desk.actions(),
                **self.shelf.actions(),
                **self.earlier.actions(),
                **self.delivery.actions(),
                **self.together.actions(),
                "hold": self.toggle_hold,
                "mark": self.session.mark,
                "view_60": lambda: going.choose_view("60 s"),
                "view_600": lambda: going.choose_view("10 min"),
                "view_pass": lambda: going.choose_view("pass"),
                "view_session": lambda: going.choose_view("session"),
                **{
                    f"arrange_{one.key}": lambda key=one.key: self.choose_arrangement(key)
                    for one in ARRANGEMENTS
                },
                "undo": window.message.take_back,
                "passes": window.passes.setFocus,
                "lanes": window.lanes.setFocus,
                "findings": going.go_to_findings,
                "live": going.escape,
                "fold": going.ask_for_tempo,
                "low_end": self.low_end.ask,
                "mixer": self.of_set.ask,
                "ears": self.hearing.ask,
                "large": lambda: self.make_large(not self.state.choices.large),
                "compact": lambda: self.go_compact(not self._is_compact),
                "theme": self.next_theme,
                "caution": lambda: self.open_page("caution"),
                "help": lambda: self.open_page("help"),
                "quit": self.quit,
            },
        )
        window.addActions(list(self.actions.values()))
        for name in keys.IN_THE_SMALL_FORM:
            self.compact.addAction(self.actions[name])
        self.theme_actions = keys.fill_menu(window.bar.menu, self.actions, self.choose_theme)
        self.theme_actions[self.state.choices.theme].setChecked(True)

    def _bind_window(self) -> None:
        window, compact = self.window, self.compact
        window.bar.source.chosen.connect(self.choose_source)
        window.bar.target.chosen.connect(self.choose_target)
        window.bar.arrangement_chosen.connect(self.choose_arrangement)
        window.views.caution.clicked.connect(lambda: self.open_page("caution"))
        window.empty.demo_wanted.connect(lambda: self.choose_source("demo"))
        window.empty.source_wanted.connect(lambda: open_list(window.bar.source))
        for owner in (window.bar, compact):
            owner.hold.clicked.connect(self.toggle_hold)
            owner.mark.clicked.connect(self.session.mark)
        self.going.numbers = lambda slot: self.low_end.moment(slot) if self._shows_depth else None
        self.going.moved.connect(lambda: self._take_now(self.session.now))
        self.low_end.remembered.connect(self._save.start)
        self.together.remembered.connect(self._save.start)
        self.low_end.changed.connect(self.desk.judge_again)
        self.of_set.changed.connect(self._save.start)
        self.hearing.said.connect(window.message.say)
        for settings in (self.low_end, self.of_set, self.hearing):
            settings.changed.connect(self._arrange)
            settings.changed.connect(lambda: self._take_now(self.session.now))
        for one in (self.going, self.desk, self.delivery):
            one.said.connect(self.say)
            one.remembered.connect(self._save.start)
        for undoable in (self.shelf.said, self.earlier.said, self.desk.removed):
            undoable.connect(window.message.say)
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
        now = self._known(now)
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
        window.empty.show_now(now, has_heard=bool(self.session.thoughts.passes or self.going.file))
        if self._is_of_ears:
            window.lanes.set_flags(self.hearing.flags() if self.going.shows_now() else {})
        elif self._plays_out:
            self._show_set(now)
        elif self._shows_depth:
            self.low_end.show()
            is_there = self.going.file is not None or self.going.shows_now()
            window.lanes.set_flags(self.low_end.flags() if is_there else {})
        else:
            window.lanes.set_flags(shown if self.going.shows_now() else self.desk.flags())
        has_engine = self.session.engine is not None
        goes_on = has_engine and now.state.status is not SourceStatus.ENDED
        window.bar.hold.setEnabled(goes_on or now.is_held)
        window.bar.mark.setEnabled(goes_on)

    def _show_set(self, now: Now) -> None:
        is_live = self.going.shows_now()
        self.window.lanes.set_flags(self.of_set.flags(now) if is_live else self.of_set.file_flags())

    def _known(self, now: Now) -> Now:
        """The same with what is known of the set, while one is played, and of the passes."""
        listed_at_s = self.session.listed_at_s
        if self._is_between or listed_at_s:
            now = replace(now, is_between=self._is_between, listed_at_s=listed_at_s)
        watch = self.session.set_watch
        return replace(now, of_set=watch.look(has_ended=now.has_ended)) if self._plays_out else now

    def _take_thoughts(self, thoughts: Thoughts) -> None:
        self.window.passes.set_passes(thoughts.passes)
        self.going.take_passes()
        newest = self.window.passes.newest
        is_between = newest is not None and newest.last_slot is not None
        if is_between != self._is_between:
            self._is_between = is_between
            self._take_now(self.session.now)  # held or lost, it would not come again by itself

    def _show_sentence(self) -> None:
        """Also when nothing is new: a sentence stands for a while, and then gives way."""
        self._sentence_s = time.monotonic()
        shown = self.compact if self._is_compact else self.window
        opening, file = self.session.opening, None if self._is_compact else self.going.file
        if self._is_of_ears and not self._is_compact and opening is None:
            shown.sentence.say(self.hearing.sentence())
        elif file is not None:
            shown.sentence.say(self.desk.sentence() or "", file.live_pass.info)
        elif opening is None:
            shown.sentence.show_now(self._known(self.session.now))
        else:
            shown.sentence.say(f"opening {opening}")

    def _tick(self) -> None:
        self.hearing.tick()
        if not self._is_seen:
            return
        if time.monotonic() - self._sentence_s >= SENTENCE_EVERY_S:
            self._show_sentence()
            if self._plays_out and not self._is_compact and not self.session.now.is_heard:
                self._show_set(self._known(self.session.now))  # what was grows older
        (self.compact.lanes if self._is_compact else self.window.lanes).tick()

    def _take_load(self, load_pct: float) -> None:
        if not self._is_seen:
            return
        self.window.status.show_load(load_pct)
        now = self._known(self.session.now)
        lanes = self.compact.lanes if self._is_compact else self.window.lanes
        timeline, flown = self.session.timeline, {lane.key: flags(now, lane) for lane in LANES}
        if not self._is_compact and self.going.file is not None:
            timeline, flown = self.going.timeline, self.desk.flags()
        if self._plays_out and not self._is_compact:
            lanes.set_spoken(self.of_set.spoken(now, self._lanes))
            return
        if self._is_of_ears and not self._is_compact:
            lanes.set_spoken(self.hearing.spoken(self._lanes))
            return
        said = {lane.key: spoken(timeline, lane, flown[lane.key]) for lane in LANES}
        if self._shows_depth and not self._is_compact:
            depths = self.low_end.flags()
            lanes.set_spoken(
                {lane.key: low_end_spoken(lane, depths.get(lane.key, ())) for lane in self._lanes}
            )
            return
        lanes.set_spoken({key: self.shelf.spoken(key, text) for key, text in said.items()})

    def _source_is_open(self, spec: str) -> None:
        chooser = self.window.bar.source
        chooser.set_current(self.session.now.state.info)
        chooser.show_chosen(spec)  # it shows what was wished for, also when nothing came of that
        if spec.startswith(RETRIED):
            self._remember(source=spec)  # a file or the demo is listened to once

    def _look_who_sees(self) -> None:
        self.session.slow_down(not self._is_seen)
        self._pace_low_end()
        self._take_now(self.session.now)

    def say(self, sentence: str) -> None:
        """A message that stays until it is closed."""
        if sentence:
            self.window.message.say(sentence)

    # --- what the user does

    def choose_source(self, spec: str) -> None:
        """Listen to another source."""
        self.window.message.hide()
        self.going.go_live()
        self.session.listen_to(spec)

    def choose_target(self, name: str) -> None:
        """Hold what is heard against another target; empty for none."""
        target = self.window.bar.target.target(name)
        self.session.set_target(target)
        self._show_target(target)
        self.desk.judge_again()
        self._remember(target=name if target is not None else "")

    def _show_target(self, target: Target | None) -> None:
        self.window.bar.target.show_chosen("" if target is None else target.name)
        self.compact.lanes.set_lanes(lanes_for(target)[:COMPACT_LANES])
        for view in (self.window.lanes, self.compact.lanes):
            view.set_target(target)
        self._arrange()

    def choose_arrangement(self, key: str) -> None:
        """Show the lanes for another kind of work, at the same place in time."""
        if self.going.place.is_folded:
            self.going.fold(False)
            self.going.show()
        self._remember(arrangement=key)
        self._arrange()
        self.window.sentence.begin_anew()
        self._take_now(self.session.now)

    def _arrange(self) -> None:
        arrangement = arrangement_of(self.state.choices.arrangement)
        self.window.bar.show_arrangement(arrangement.key)
        self._plays_out = arrangement.plays_out
        self.session.make_set(self._plays_out)
        self.window.show_far(self._plays_out)
        self._is_of_ears = arrangement.is_of_ears
        self.window.show_words(WORDS if self._is_of_ears else "")
        self._lanes = arrangement.lanes(
            self.session.target, self.low_end.settings, self.of_set.settings, self.hearing.rule
        )
        self.window.lanes.set_lanes(self._lanes)
        self._pace_low_end()
        self.actions["fold"].setEnabled(arrangement.folds)
        self.window.views.fold.setEnabled(arrangement.folds)

    def _pace_low_end(self) -> None:
        self.session.slow_low_end_down(not (self._is_seen and self._shows_depth) or self._is_compact)

    @property
    def _shows_depth(self) -> bool:
        return any(lane.picture for lane in self._lanes)

    def toggle_hold(self) -> None:
        """Hold, or go on."""
        held = self.session.now.is_held
        self.session.hold(not held)
        for one in (self.window.bar, self.compact):
            one.show_held(not held if self.session.engine is not None else held)

    # --- how it looks

    def make_large(self, on: bool) -> None:
        """Flags that can be read across the room."""
        for lanes in (self.window.lanes, self.compact.lanes):
            lanes.large = on
        self.actions["large"].setChecked(on)
        self._remember(large=on)

    def choose_theme(self, theme: str) -> None:
        """Light, dark, night, or as the system has it."""
        self._remember(theme=theme)
        self.theme_actions[theme].setChecked(True)
        self.dress()

    def _system_changed(self) -> None:
        if self.state.choices.theme == "system":
            self.dress()

    def next_theme(self) -> None:
        """The next of them."""
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
        self.desk.opener.stop()
        self.shelf.errands.stop()
        self.earlier.errands.stop()
        self.delivery.stop()
        self.together.stop()
        self.hearing.errands.stop()
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
        self.shelf.look()


def _geometry(widget: QWidget) -> str:
    return bytes(widget.saveGeometry().data()).hex()


def open_list(chooser: Chooser) -> None:
    """Open a chooser's list, for the keyboard."""
    chooser.setFocus()
    chooser.showPopup()
