"""Where the user is: at what sounds now, at a pass, at a moment, zoomed or folded."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PyQt6.QtCore import QObject, pyqtSignal
from PyQt6.QtWidgets import QDialog

from meter.moment import moment_lines, place_lines, where_lines
from meter.phrases import phrases
from meter.timeline import SLOTS_A_SECOND
from ui.session import Session
from ui.state import StateFile
from ui.tempo import TempoDialog
from ui.thinker import PassLine
from ui.time_scale import View
from ui.view_span import NOW, Place, pass_at, view_of
from ui.window import MainWindow

if TYPE_CHECKING:
    from meter.file_pass import FilePass
    from meter.findings import Finding
    from meter.timeline import Timeline


class Navigator(QObject):
    """Moves the lanes, and shows the numbers of the moment that was chosen.

    Parameters
    ----------
    session : Session
    state : StateFile
    window : MainWindow

    Attributes
    ----------
    place : Place
    moment : int or None
        The slot whose numbers are shown.
    numbers : callable
        What an arrangement says of a slot instead of the levels, without the place; None: nothing.
    file : FilePass or None
        The file that is shown instead of what was heard in this session.

    Signals
    -------
    moved
        Something else is shown now.
    said : str
        One sentence.
    remembered
        A choice has changed.
    """

    moved = pyqtSignal()
    said = pyqtSignal(str)
    remembered = pyqtSignal()

    def __init__(self, session: Session, state: StateFile, window: MainWindow) -> None:
        super().__init__()
        self.session, self.state, self.window = session, state, window
        self.place = NOW
        self.moment: int | None = None
        self.file: FilePass | None = None
        self.dialog: TempoDialog | None = None
        self.numbers: Callable[[int], list[str] | None] = lambda slot: None
        window.findings.where = self.where
        views, passes, lanes = window.views, window.passes, window.lanes
        views.view_chosen.connect(self.choose_view)
        views.live_wanted.connect(self.go_live)
        views.fold.clicked.connect(self.fold_clicked)
        passes.now_chosen.connect(self.go_live)
        passes.pass_chosen.connect(self.choose_pass)
        window.findings.finding_chosen.connect(self.choose_finding)
        lanes.moment_chosen.connect(self.choose_moment)
        lanes.span_chosen.connect(self.choose_span)
        lanes.choice_cleared.connect(self.forget_choice)
        lanes.view_changed.connect(self.zoomed)

    def _remember(self, **changes: object) -> None:
        self.state.remember(**changes)
        self.remembered.emit()

    @property
    def timeline(self) -> Timeline:
        """What the lanes draw."""
        return self.session.timeline if self.file is None else self.file.timeline

    @property
    def passes(self) -> tuple[PassLine, ...]:
        """The passes in it; a file is always one."""
        if self.file is None:
            return self.session.thoughts.passes
        return (PassLine(number=1, first_slot=0, last_slot=self.file.timeline.slots, text=""),)

    def take_passes(self) -> None:
        """A pass has begun, or grown to its end."""
        if self.file is None:
            self.window.findings.set_findings(self.session.thoughts.findings)
            if self.place.free is None:
                self.window.lanes.set_view(self.view())

    def choose_file(self, file: FilePass) -> None:
        """Draw this file instead of what is heard, which is measured on."""
        self.fold(False)
        self._show_history(file)
        self.place = Place(pass_number=1)
        self._show_moment(None)
        self.show()

    def take_file(self, file: FilePass) -> None:
        """The shown file is held against another target."""
        self.file = file
        self.window.findings.set_findings(file.findings)
        self.moved.emit()

    def _show_history(self, file: FilePass | None) -> None:
        """That of a file, or of this session."""
        if file is self.file:
            return
        self.file, self.moment = file, None
        self.window.lanes.set_timeline(self.timeline)
        findings = self.session.thoughts.findings if file is None else file.findings
        self.window.findings.set_findings(findings)

    def choose_view(self, view: str) -> None:
        """Show more or less of the time, around what is shown now."""
        self._remember(view=view)
        self.fold(False)
        if self.place.free is not None or self.place.pass_number is not None:
            slot = self.file.loudest_slot if self.moment is None and self.file else self.moment
            self.place = NOW if slot is None else Place(slot=slot)
        self.show()

    def go_live(self) -> None:
        """Back to what sounds now; nothing is chosen any more."""
        self.window.message.hide()
        self.place = NOW
        self.window.passes.show_now()
        self.window.findings.forget_choice()
        self.window.lanes.select(None)
        self.fold(False)
        self._show_history(None)
        self._show_moment(None)
        self.show()

    def choose_pass(self, chosen: PassLine) -> None:
        """Draw this pass."""
        self.fold(False)
        self._show_history(None)
        self.place = Place(pass_number=chosen.number)
        self.show()

    def choose_finding(self, finding: Finding) -> None:
        """Move every lane there."""
        self.fold(False)
        self.place = Place(slot=(finding.first_slot + finding.last_slot) // 2)
        self.show()
        self.window.lanes.select(finding.first_slot, finding.last_slot)
        # At its beginning a window of 3 s tells of what was before.
        middle = (finding.first_slot + finding.last_slot) // 2
        self._show_moment(middle if finding.at_slot == finding.first_slot else finding.at_slot)

    def choose_moment(self, slot: int) -> None:
        """Show the numbers of this moment; the lanes stay where they are."""
        self.window.findings.forget_choice()
        self._show_moment(slot)

    def choose_span(self, first_slot: int, last_slot: int) -> None:
        """Show the numbers of this part, measured again."""
        self.window.findings.forget_choice()
        self._show_moment(first_slot, last_slot)

    def escape(self) -> None:
        """Choose no part any more; with none chosen, go back to what sounds now."""
        selection = self.window.lanes.selection
        if selection is not None and selection[1] is not None and self.window.findings.chosen is None:
            self.window.lanes.select(None)
            self.forget_choice()
        else:
            self.go_live()

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

    def zoomed(self, view: View) -> None:
        """The lanes were zoomed by hand."""
        self.place = Place(free=view)
        self.show()

    def _show_moment(self, slot: int | None, last_slot: int | None = None) -> None:
        self.moment = slot
        lines = None
        if slot is not None and last_slot is not None:
            from meter.chosen_part import part_lines

            lines = part_lines(self.timeline, slot, last_slot)
        elif slot is not None:
            number = self._number_at(slot)
            lines = moment_lines(self.timeline, slot, pass_number=number)
            instead = self.numbers(slot)
            if instead:
                lines = [*place_lines(self.timeline, slot, pass_number=number), *instead]
        self.window.moment.show_lines(lines)
        self.window.views.show_is_live(self._is_at_now)

    def _number_at(self, slot: int) -> int | None:
        """Of the pass in the list; None where there is none."""
        one = None if self.file is not None else pass_at(slot, self.passes)
        return None if one is None else one.number

    def where(self, finding: Finding) -> list[str]:
        """What stands under the place of a finding; of the pass nothing while there is one only."""
        slot = finding.at_slot
        number = self._number_at(slot) if len(self.passes) > 1 else None
        return where_lines(self.timeline, slot, pass_number=number)

    def view(self) -> View:
        """What the lanes show."""
        return view_of(self.place, self.state.choices.view, self.passes, self.timeline)

    def shows_now(self) -> bool:
        """Whether the newest sounding is shown, so that its flags have a place."""
        return self.file is None and not self.place.is_folded and self.view().is_live

    @property
    def _is_at_now(self) -> bool:
        return self.file is None and self.place == NOW and self.moment is None

    def show(self) -> None:
        """Bring the lanes to where the user is."""
        window = self.window
        window.lanes.set_view(self.view())
        window.views.show_view(self._view_name())
        window.views.show_is_live(self._is_at_now)
        self.moved.emit()

    def _view_name(self) -> str | None:
        """The view that is seen; None where the lanes were zoomed by hand."""
        if self.place.free is not None:
            return None
        return "pass" if self.place.pass_number is not None else self.state.choices.view

    # --- fold by phrase

    def fold_clicked(self, wanted: bool) -> None:
        """Fold, or unfold."""
        if wanted:
            self.ask_for_tempo()
        else:
            self.fold(False)

    def ask_for_tempo(self) -> None:
        """Ask for tempo and downbeat, and fold."""
        choices = self.state.choices
        dialog = TempoDialog(choices.bpm, choices.downbeat_s, self._moment_s(), self.window)
        dialog.finished.connect(lambda result: self._take_tempo(dialog, result))
        dialog.open()
        self.dialog = dialog

    def _moment_s(self) -> float | None:
        if self.moment is None or self.timeline.place(self.moment) is None:
            return None
        return (self.moment - self.timeline.origin_slot(self.moment)) / SLOTS_A_SECOND

    def _take_tempo(self, dialog: TempoDialog, result: int) -> None:
        if result == QDialog.DialogCode.Accepted:
            self._remember(bpm=dialog.bpm.value(), downbeat_s=dialog.downbeat.value())
            self.fold(True)
        else:
            self.window.views.fold.setChecked(self.place.is_folded)

    def fold(self, on: bool) -> None:
        """Fold the chosen pass, or the newest, by the remembered tempo; or unfold."""
        lanes = self.window.lanes
        chosen = self.window.passes.chosen or self.window.passes.newest
        one = chosen if self.file is None else self.passes[0]
        if self.place.is_folded:
            self.place = Place(pass_number=self.place.pass_number)
        if not on or one is None:
            lanes.set_phrases(None)
            self.window.show_folded(False)
            self.window.views.fold.setChecked(False)
            if on:
                self.said.emit("there is no pass to fold yet; play the tune first")
            return
        choices = self.state.choices
        last = self.timeline.slots if one.last_slot is None else one.last_slot
        slices = phrases(one.first_slot, last, choices.bpm, choices.downbeat_s)
        if len(slices) < 2:
            self.fold(False)
            self.said.emit(
                "this pass is shorter than two phrases of 16 bars at this tempo; there is nothing to fold"
            )
            return
        self.place = Place(pass_number=one.number, is_folded=True)
        if self.file is None:
            self.window.passes.show_pass(one)
        self.window.views.fold.setChecked(True)
        self.window.show_folded(True)
        self.show()
        lanes.set_phrases(slices)
