"""What ears get, in the window: whose setup is followed, by which rule, and what is said of it."""

from __future__ import annotations

import logging
import math
import time
from collections.abc import Sequence
from typing import TYPE_CHECKING

from PyQt6.QtCore import QObject, QTimer, pyqtSignal

from meter.errors import JournalError, MeterError
from meter.exposure.lanes import Reminders, hearing_flags, hearing_sentence
from meter.exposure.rules import RULES, Rule
from meter.exposure.week import week_title
from ui.errands import Errands
from ui.session import Session
from ui.state import StateFile
from ui.window import MainWindow

if TYPE_CHECKING:
    from meter.exposure.calibration import Calibration
    from meter.exposure.heard import Entry
    from meter.exposure.week import Day
    from meter.lanes import Flag, Lane
    from ui.hearing_page import HearingPage

LOG = logging.getLogger("ui.hearing")
LOOK_S = 1.0
WEEK_LOOK_S = 15.0


class HearingDesk(QObject):
    """Binds the level at the ear to the window.

    Attributes
    ----------
    rule : Rule
        By which exposure is told.

    Signals
    -------
    changed
        Another rule, or another setup.
    said
        One sentence, and a way to undo it or None.
    """

    changed = pyqtSignal()
    said = pyqtSignal(str, object)

    def __init__(self, session: Session, state: StateFile, window: MainWindow) -> None:
        super().__init__()
        self.session, self.state, self.window = session, state, window
        self.rule: Rule = RULES["who-adult"]
        self.setups: tuple[Calibration, ...] = ()
        self.page: HearingPage | None = None
        self._looked_s = self._week_looked_s = -math.inf
        self.errands = Errands("hearing")
        self._reminders = self._new_reminders()
        QTimer.singleShot(0, self._begin)  # the window is painted first

    def _begin(self) -> None:
        self._read()
        self._follow()
        self.changed.emit()

    def _new_reminders(self) -> Reminders:
        choices = self.state.choices
        return Reminders(is_on=choices.ear_reminders, break_min=choices.ear_break_min)

    def _read(self) -> None:
        """Setups and rule, as the journal has them; the usual rule and none where it cannot be read."""
        from meter.exposure.store import ExposureStore
        from meter.journal.store import read_journal

        try:
            with read_journal() as journal:
                store = ExposureStore(journal)
                self.setups, self.rule = tuple(store.calibrations()), store.rule()
        except JournalError as error:
            LOG.info("no setups: %s", error)

    def _follow(self) -> None:
        name = self.state.choices.ear_setup
        chosen = next((one for one in self.setups if one.setup == name), None)
        self.session.follow_ear(chosen, self.rule)

    # --- what is shown

    def flags(self) -> dict[str, tuple[Flag, ...]]:
        """The flags of what is heard now."""
        return hearing_flags(self.session.ear, self.rule)

    def sentence(self) -> str:
        """The most useful thing to know now."""
        return hearing_sentence(self.session.ear, has_setups=bool(self.setups), now_s=time.time())

    def spoken(self, lanes: Sequence[Lane]) -> dict[str, str]:
        """Each lane in words, by its key."""
        from meter.moment import spoken

        shown = self.flags()
        return {lane.key: spoken(self.session.timeline, lane, shown.get(lane.key, ())) for lane in lanes}

    def look_at_week(self) -> None:
        """Work the seven days out beside the window, and show them."""
        rule = self.rule
        self._week_looked_s = time.monotonic()
        self.errands.run(lambda: _days(rule), lambda days: self.window.week.show_days(week_title(rule), days))

    def tick(self) -> None:
        """Once a second: whether there is something to remind of, and what the days come to."""
        now_s = time.monotonic()
        if self.window.week.isVisible() and now_s - self._week_looked_s >= WEEK_LOOK_S:
            self.look_at_week()
        ear = self.session.ear
        if ear is None or now_s - self._looked_s < LOOK_S:
            return
        self._looked_s = now_s
        text = self._reminders.take(ear)
        if text is not None:
            self.said.emit(text, None)

    # --- what the user says

    def ask(self) -> None:
        """The page: what the source feeds, the rule, reminders, and what was heard elsewhere."""
        from ui.hearing_page import HearingPage, Wanted

        self._read()
        choices = self.state.choices
        wanted = Wanted(
            setup=choices.ear_setup,
            rule=self.rule.key,
            reminds=choices.ear_reminders,
            break_min=choices.ear_break_min,
        )
        page = HearingPage(self.setups, wanted, self.window)
        page.accepted.connect(lambda: self._take(page))
        page.open()
        self.page = page

    def _take(self, page: HearingPage) -> None:
        found, entry = page.found(), page.entry()
        self.state.remember(
            ear_setup=found.setup, ear_reminders=found.reminds, ear_break_min=found.break_min
        )
        self._reminders = self._new_reminders()
        try:
            self._write(found.rule, entry)
        except MeterError as error:
            self.said.emit(str(error), None)
        self._read()
        self._follow()
        self._week_looked_s = -math.inf
        self.changed.emit()

    def _write(self, rule: str, entry: tuple[str, float, float, float] | None) -> None:
        from meter.exposure.rules import Part
        from meter.exposure.store import ExposureStore
        from meter.journal.store import open_journal

        if rule == self.rule.key and entry is None:
            return
        with open_journal() as journal:
            store = ExposureStore(journal)
            store.choose_rule(rule)
            if entry is None:
                return
            note, hours, level_dba, plus_db = entry
            part = Part(level_dba=level_dba, hours=hours, uncertainty_db=plus_db)
            made = store.add(part, began_unix_s=time.time() - 3600.0 * hours, note=note)
        what = f"{note}, {hours:g} h at about {level_dba:g} ± {plus_db:g} dBA"
        self.said.emit(f"counted, as you say it: {what}", lambda: self._undo(made))

    def _undo(self, entry: Entry) -> None:
        from meter.exposure.store import ExposureStore
        from meter.journal.store import open_journal

        try:
            with open_journal() as journal:
                ExposureStore(journal).remove(entry.number)
        except MeterError as error:
            self.said.emit(str(error), None)
        self._follow()
        self._week_looked_s = -math.inf


def _days(rule: Rule) -> tuple[Day, ...]:
    from meter.exposure.heard import WEEK_S
    from meter.exposure.store import ExposureStore
    from meter.exposure.week import days_of
    from meter.journal.store import read_journal

    now_s = time.time()
    try:
        with read_journal() as journal:
            store = ExposureStore(journal)
            return days_of(rule, store.minutes(now_s - 1.2 * WEEK_S, now_s), store.entries(), now_s=now_s)
    except JournalError as error:
        LOG.info("no seven days: %s", error)
        return ()
