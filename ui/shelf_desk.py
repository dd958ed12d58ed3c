"""The shelf in the window: what is kept on it, taken away, brought back, and compared with."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PyQt6.QtCore import QObject, pyqtSignal

from ui.errands import Errands
from ui.navigator import Navigator
from ui.spread_bar import SPREAD_LANE
from ui.window import MainWindow

if TYPE_CHECKING:
    from meter.shelf.compare import Comparison
    from meter.shelf.reference import Reference
    from meter.shelf.spread import Spread
    from meter.shelf.subject import Subject
    from ui.shelf_page import ShelfPage

ALL = "All of them"


class ShelfDesk(QObject):
    """Binds the shelf to the window.

    Attributes
    ----------
    names : list of str
        What is on the shelf.
    spread : Spread or None
        How loud that is.
    page : ShelfPage or None
        The newest comparison.

    Signals
    -------
    said : str, callable or None
        One sentence, and what undoes what it tells.
    """

    said = pyqtSignal(str, object)

    def __init__(self, window: MainWindow, going: Navigator) -> None:
        super().__init__()
        self.window, self.going = window, going
        self.names: list[str] = []
        self.spread: Spread | None = None
        self.page: ShelfPage | None = None
        self.errands = Errands("shelf")
        self.errands.failed.connect(lambda sentence: self.said.emit(sentence, None))
        self._measured: tuple[Subject, Reference] | None = None
        window.passes.reference_chosen.connect(self.compare)
        window.passes.reference_unwanted.connect(self.remove)

    def look(self) -> None:
        """See what is on it."""
        self.errands.run(_on_it, lambda found: self._show(*found))

    def _show(self, names: list[str], spread: Spread | None) -> None:
        self.names, self.spread = names, spread
        self.window.lanes.set_spread(spread)
        self.window.passes.set_shelf([ALL, *names] if len(names) > 1 else names)

    def _chosen(self, number: int) -> list[str]:
        """The names behind a row of the list; none of all of them."""
        if len(self.names) > 1:
            return [] if number == 0 else [self.names[number - 1]]
        return self.names[number : number + 1]

    def subject(self) -> Subject | None:
        """What is kept or compared: the shown file, the chosen pass, or the newest."""
        from meter.shelf.subject import Subject, subject_of_slots

        file = self.going.file
        if file is not None:
            return Subject.of_checked(file.checked, heard=file.heard)
        passes = self.window.passes
        number = self.going.place.pass_number
        one = passes.newest if number is None else passes.pass_of(number)
        if one is None:
            return None
        timeline = self.going.timeline
        last_slot = timeline.slots if one.last_slot is None else one.last_slot
        return subject_of_slots(timeline, one.first_slot, last_slot, name=f"pass {one.number}")

    def _with_reference(self, subject: Subject) -> Reference:
        """In the thread; what was measured last is kept."""
        if self._measured is None or self._measured[0] != subject:
            self._measured = subject, subject.reference()
        return self._measured[1]

    # --- keep, take away, bring back

    def keep(self) -> None:
        """Keep what is shown as a reference."""
        subject = self.subject()
        if subject is None:
            self.said.emit("there is nothing to keep yet; open a file, or play a tune", None)
            return
        from meter.shelf import in_window

        def done(name: str) -> None:
            self.said.emit(in_window.kept_text(name), lambda: self._remove(name, is_undo=True))
            self.look()

        self.errands.run(lambda: in_window.keep(self._with_reference(subject)), done)

    def remove(self, number: int) -> None:
        """Take away the reference of a row of the list."""
        for name in self._chosen(number):
            self._remove(name)

    def _remove(self, name: str, *, is_undo: bool = False) -> None:
        from meter.shelf import in_window

        def done(_: object) -> None:
            if not is_undo:
                self.said.emit(in_window.removed_text(name), self._bring_back)
            self.look()

        self.errands.run(lambda: in_window.remove(name), done)

    def _bring_back(self) -> None:
        from meter.shelf import in_window

        self.errands.run(in_window.bring_back, lambda _: self.look())

    # --- compare

    def compare(self, number: int) -> None:
        """Hold what is shown against the reference of a row, or against all of them."""
        subject, names = self.subject(), self._chosen(number)
        if subject is None:
            self.said.emit("there is nothing to compare yet; open a file, or play a tune", None)
            return
        from meter.shelf import in_window

        def work() -> Comparison:
            return in_window.compared(self._with_reference(subject), names)

        self.errands.run(work, self._open)

    def _open(self, comparison: Comparison) -> None:
        from ui.shelf_page import ShelfPage  # not before the first paint

        if self.page is not None:
            self.page.close()
        self.page = ShelfPage(comparison, self.window)
        self.page.show()

    def spoken(self, lane_key: str, said: str) -> str:
        """What a lane says to those who hear it, with the bar of the shelf where it stands."""
        return f"{said}; {self.spread.text}" if self.spread and lane_key == SPREAD_LANE else said

    def actions(self) -> dict[str, Callable[[], object]]:
        """What is behind the keys."""
        return {"keep": self.keep}


def _on_it() -> tuple[list[str], Spread | None]:
    from meter.shelf import in_window

    return in_window.names_and_spread()
