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
    files : list of FilePass
        In the order in which they were measured; the first has the number 0.

    Signals
    -------
    said : str
        What could not be done.
    remembered
        A choice has changed.
    """

    said = pyqtSignal(str)
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
        self.files: list[FilePass] = []
        self.dialog: QFileDialog | None = None
        self._changes: list[str] = []
        self._waiting = 0
        self._shows_next = False
        window.dropped.connect(self.open)
        window.bar.open.clicked.connect(self.ask_for_files)
        window.progress.cancelled.connect(opener.cancel)
        window.passes.file_chosen.connect(self.choose)
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
        self.opener.measure(paths, target=self.session.target)

    # --- what has come

    def _take(self, file: FilePass) -> None:
        from meter.file_words import numbers_text
        from meter.pass_changes import changes_text

        number, summary = len(self.files), file.checked.summary
        change = ""
        if self.files:
            change = changes_text(self.files[-1].checked.summary, summary, most=2)
        self.files.append(file)
        self._changes.append(change)
        self.window.passes.add_file(number, file.title, numbers_text(summary), change)
        if self._shows_next:
            self._shows_next = False
            self.choose(number)

    def _take_end(self, problems: str) -> None:
        self._waiting -= 1
        if self._waiting == 0:
            self.window.progress.hide()
            self._shows_next = False
        if problems:
            self.said.emit(problems)

    # --- choosing

    def choose(self, number: int) -> None:
        """Draw this file, held against the target of now."""
        self.files[number] = self.files[number].against(self.session.target)
        self.window.passes.show_file(number)
        self.going.choose_file(self.files[number])

    def judge_again(self) -> None:
        """The target has changed."""
        shown = self.going.file
        if shown is not None and shown in self.files:
            number = self.files.index(shown)
            self.files[number] = shown.against(self.session.target)
            self.going.take_file(self.files[number])

    def take_encodes(self, number: int, encodes: Sequence[Encoded]) -> None:
        """A file was tried with encoders: its row and its findings tell of them."""
        from meter.delivery.tables import full_line, short_line
        from meter.file_words import numbers_text

        before = self.files[number]
        file = self.files[number] = before.with_encodes(encodes)
        numbers = numbers_text(file.checked.summary)
        tried = [(short_line(one), full_line(one)) for one in encodes]
        self.window.passes.write_file(number, file.title, numbers, self._changes[number], tried)
        if self.going.file is before:
            self.going.take_file(file)

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
