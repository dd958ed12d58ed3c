"""Files in the window: how they are asked for, what is said meanwhile, and the list of those measured."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from PyQt6.QtCore import QObject, pyqtSignal
from PyQt6.QtWidgets import QFileDialog

from meter.av_kinds import SUFFIXES
from meter.lanes import LANES
from ui.files_opener import FilesOpener
from ui.low_end_desk import settings_of
from ui.navigator import Navigator
from ui.session import Session
from ui.state import StateFile
from ui.window import MainWindow

if TYPE_CHECKING:
    from meter.delivery.encoded import Encoded
    from meter.file_pass import FilePass
    from meter.lanes import Flag


class FilesDesk(QObject):
    """Binds the opener of files to the window.

    Parameters
    ----------
    session : Session
    state : StateFile
    window : MainWindow
    going : Navigator
    opener : FilesOpener

    Attributes
    ----------
    files : dict of int: FilePass
        By number, in the order in which they came; the first has the number 0. What was taken out of the list
        is not there any more.

    Signals
    -------
    said : str
        What could not be done.
    removed : str, object
        What was taken out of the list, and what brings it back.
    remembered
        A choice has changed.
    """

    said = pyqtSignal(str)
    removed = pyqtSignal(str, object)
    remembered = pyqtSignal()

    def __init__(
        self,
        session: Session,
        state: StateFile,
        window: MainWindow,
        going: Navigator,
        opener: FilesOpener,
    ) -> None:
        super().__init__()
        self.session, self.state, self.window, self.going = session, state, window, going
        self.opener = opener
        self.files: dict[int, FilePass] = {}
        self.dialog: QFileDialog | None = None
        self._count = 0
        self._changes: dict[int, str] = {}
        self._waiting = 0
        self._shows_next = False
        window.dropped.connect(self.open)
        window.bar.open.clicked.connect(self.ask_for_files)
        window.progress.cancelled.connect(opener.cancel)
        window.passes.file_chosen.connect(self.choose)
        window.passes.file_unwanted.connect(self.remove)
        opener.progressed.connect(window.progress.show_progress)
        opener.measured.connect(self._take)
        opener.ended.connect(self._take_end)

    # --- asking

    def ask_for_files(self) -> None:
        """Let the user choose files."""
        dialog = self._dialog("Open files")
        dialog.setFileMode(QFileDialog.FileMode.ExistingFiles)
        patterns = " ".join(f"*.{suffix}" for suffix in sorted(SUFFIXES))
        dialog.setNameFilters([f"Audio files ({patterns})", "All files (*)"])
        self._ask(dialog)

    def ask_for_folder(self) -> None:
        """Let the user choose a folder."""
        dialog = self._dialog("Open a folder")
        dialog.setFileMode(QFileDialog.FileMode.Directory)
        dialog.setOption(QFileDialog.Option.ShowDirsOnly)
        self._ask(dialog)

    def _dialog(self, title: str) -> QFileDialog:
        dialog = QFileDialog(self.window, f"{title} · Leadline")
        folder = self.state.choices.folder
        if folder and Path(folder).is_dir():
            dialog.setDirectory(folder)
        return dialog

    def _ask(self, dialog: QFileDialog) -> None:
        dialog.filesSelected.connect(self.open)
        dialog.open()
        self.dialog = dialog

    def open(self, paths: Sequence[str]) -> None:
        """Measure files and folders, and show the first that is done."""
        if not paths:
            return
        folder = str(Path(paths[0]).absolute().parent)
        if folder.isprintable():
            self.state.remember(folder=folder)
            self.remembered.emit()
        self._waiting += 1
        self._shows_next = True
        self.window.message.hide()
        self.window.progress.show_progress("looking for the files", 0.0)
        self.opener.measure(paths, target=self.session.target, low_end=settings_of(self.state))

    # --- what has come

    def _take(self, file: FilePass) -> None:
        from meter.pass_changes import changes_text

        summary, change = file.checked.summary, ""
        if self.files:
            change = changes_text(self.files[max(self.files)].checked.summary, summary, most=2)
        number = self._count
        self._count += 1
        self._put(number, file, change)
        if self._shows_next:
            self._shows_next = False
            self.choose(number)

    def _put(self, number: int, file: FilePass, change: str) -> None:
        from meter.file_words import numbers_text

        self.files[number], self._changes[number] = file, change
        numbers = numbers_text(file.checked.summary, file.checked.options.target)
        self.window.passes.add_file(number, file.title, numbers, change)
        if file.checked.encodes:
            self._write(number)

    def add(self, file: FilePass) -> None:
        """Draw what was measured elsewhere: a pass out of the journal; once only."""
        for number, there in self.files.items():
            if there.heard and there.checked.name == file.checked.name:
                self.choose(number)
                return
        self._shows_next = True
        self._take(file)

    def remove(self, number: int) -> None:
        """Take it out of the list; the file, and the journal, stay as they are."""
        file, change = self.files.pop(number), self._changes.pop(number)
        self.window.passes.remove_file(number)
        if self.going.file is file:
            self.going.go_live()
        self.removed.emit(f"taken out of the list: {file.title}", lambda: self._put(number, file, change))

    def _take_end(self, problems: str) -> None:
        self._waiting -= 1
        if self._waiting == 0:
            self.window.progress.hide()
            self._shows_next = False
        if problems:
            self.said.emit(problems)

    # --- choosing

    def choose(self, number: int) -> None:
        """Draw this file, held against the target and the settings of now."""
        self.files[number] = self._judged(self.files[number])
        self._write(number)
        self.window.passes.show_file(number)
        self.going.choose_file(self.files[number])

    def judge_again(self) -> None:
        """The target has changed, or the settings of the low end."""
        number = self.number_of(self.going.file)
        if number is not None:
            self.files[number] = self._judged(self.files[number])
            self._write(number)
            self.going.take_file(self.files[number])

    def _judged(self, file: FilePass) -> FilePass:
        return file.against(self.session.target).low_end_by(settings_of(self.state))

    def number_of(self, shown: FilePass | None) -> int | None:
        """Its number in the list; None where it is not there."""
        return next((number for number, file in self.files.items() if file is shown), None)

    def take_encodes(self, number: int, encodes: Sequence[Encoded]) -> None:
        """A file was tried with encoders: its row and its findings tell of them."""
        if number not in self.files:
            return  # it was taken out of the list meanwhile
        before = self.files[number]
        file = self.files[number] = before.with_encodes(encodes)
        self._write(number)
        if self.going.file is before:
            self.going.take_file(file)

    def _write(self, number: int) -> None:
        from meter.delivery.tables import full_line, short_line
        from meter.file_words import numbers_text

        file = self.files[number]
        numbers = numbers_text(file.checked.summary, file.checked.options.target)
        tried = [(short_line(one), full_line(one)) for one in file.checked.encodes]
        self.window.passes.write_file(number, file.title, numbers, self._changes[number], tried)

    def sentence(self) -> str | None:
        """What is to be said of the file that is shown; None while none is."""
        from meter.file_words import file_sentence

        return None if self.going.file is None else file_sentence(self.going.file.checked)

    def flags(self) -> dict[str, tuple[Flag, ...]]:
        """The flags of the shown file, by lane."""
        from meter.file_flags import file_flags

        file = self.going.file
        return {} if file is None else {lane.key: file_flags(file.checked, lane) for lane in LANES}

    def actions(self) -> dict[str, Callable[[], object]]:
        """What is behind the keys."""
        return {"open_files": self.ask_for_files, "open_folder": self.ask_for_folder}
