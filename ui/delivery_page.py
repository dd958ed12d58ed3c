"""The page of delivery: which encoders a file is tried with, what they make of it, how loud it plays back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtWidgets import (
    QCheckBox,
    QDialog,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from meter.delivery.choices import LOUDEST_LUFS, QUIETEST_LUFS
from meter.delivery.codecs import CODECS, Codec, available, rates_in
from meter.delivery.tables import CLIPS, ENCODE_HEADINGS, PLAYBACK_HEADINGS, PLAYS
from meter.window_text import capital
from ui.parts import fill_page, number_box, prose
from ui.progress_strip import ProgressStrip
from ui.state import Choices
from ui.style import SENTENCE_PX, SMALL_PX, SPACE_PX, label, typeset

if TYPE_CHECKING:
    from meter.delivery.of_pass import PageText

SIZE_PX: Final = (900, 760)
EDGES_PX: Final = 5 * SPACE_PX + 14
"""Beside the tables: the margins, and the scroll bar."""
USUAL_KBPS: Final = 192
NOTHING_CHOSEN: Final = "no encoder is chosen; tick one at least"


class DeliveryPage(QDialog):
    """One file, in a window of its own, closed with Escape.

    Parameters
    ----------
    number : int
        Of the file.
    choices : Choices

    Signals
    -------
    check_wanted : str
        Encoders and rates, as `check --encode` takes them.
    cancelled
    levels_changed : float, bool
        The user's own level, and whether players turn up.
    """

    check_wanted = pyqtSignal(str)
    cancelled = pyqtSignal()
    levels_changed = pyqtSignal(float, bool)

    def __init__(self, number: int, choices: Choices, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.number = number
        self.setObjectName("page")
        self.setWindowTitle("Delivery · Leadline")
        self.setAccessibleName("Delivery")
        self.title = prose(is_soft=True)
        self.encoders = {key: _Wished(codec) for key, codec in CODECS.items()}
        for key, kbps in rates_in(choices.encoders).items():
            self.encoders[key].wish(kbps)
        self.check = QPushButton("Check")
        self.check.setDefault(True)
        self.check.setToolTip("Encode and decode in memory, in the background; your file is only read")
        self.check.clicked.connect(self._ask)
        self.progress = ProgressStrip(what="the trying of encoders")
        self.progress.cancelled.connect(self.cancelled)
        self.problem = prose()
        self.encodes, self.playback = _Table(ENCODE_HEADINGS), _Table(PLAYBACK_HEADINGS)
        self.encodes_note, self.playback_note = (prose(size_px=SMALL_PX, is_soft=True) for _ in range(2))
        self.finding = prose()
        own_lufs = choices.playback_own_lufs
        self.own = number_box(QUIETEST_LUFS, LOUDEST_LUFS, own_lufs, " LUFS", "A level of your own")
        self.turns_up = QCheckBox("Players turn &up what is quieter")
        self.turns_up.setChecked(choices.playback_turns_up)
        self.own.valueChanged.connect(self._tell_levels)
        self.turns_up.toggled.connect(self._tell_levels)
        self._lay_out()

    def _lay_out(self) -> None:
        self._inside = inside = QWidget()
        inside.setObjectName("page")
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, SPACE_PX, 0)
        column.setSpacing(SPACE_PX)
        column.addWidget(self.title)
        column.addWidget(prose(CLIPS, size_px=SENTENCE_PX))
        row = QHBoxLayout()
        row.setSpacing(SPACE_PX)
        for one in self.encoders.values():
            row.addWidget(one.box)
            row.addWidget(one.kbps)
            row.addSpacing(SPACE_PX)
        row.addStretch(1)
        row.addWidget(self.check)
        column.addLayout(row)
        missing = [one.why_not for one in self.encoders.values() if one.why_not]
        if missing:
            column.addWidget(prose(" ".join(missing), size_px=SMALL_PX, is_soft=True))
        for part in (self.progress, self.problem, self.encodes, self.encodes_note, self.finding):
            column.addWidget(part)
        column.addSpacing(2 * SPACE_PX)
        column.addWidget(prose(PLAYS, size_px=SENTENCE_PX))
        row = QHBoxLayout()
        row.setSpacing(SPACE_PX)
        own = label("Your &own")
        own.setBuddy(self.own)
        row.addWidget(own)
        row.addWidget(self.own)
        row.addSpacing(2 * SPACE_PX)
        row.addWidget(self.turns_up)
        row.addStretch(1)
        column.addLayout(row)
        column.addWidget(self.playback)
        column.addWidget(self.playback_note)
        column.addStretch(1)
        fill_page(self, inside, SIZE_PX)

    # --- what is wanted

    def wished(self) -> str:
        """The chosen encoders, such as "aac:256,mp3:320"; empty for none."""
        return ",".join(text for one in self.encoders.values() if (text := one.text()))

    def _ask(self) -> None:
        text = self.wished()
        if text:
            self.check_wanted.emit(text)
        else:
            self.say(NOTHING_CHOSEN)

    def _tell_levels(self) -> None:
        self.levels_changed.emit(self.own.value(), self.turns_up.isChecked())

    # --- what is shown

    def show_tables(self, text: PageText) -> None:
        """Write it."""
        self.title.setText(text.title)
        self.encodes.fill(text.encodes)
        self.encodes_note.setText(typeset(text.encodes_note))
        _show(self.finding, text.finding)
        self.playback.fill(text.playback)
        self.playback_note.setText(typeset(text.playback_note))
        self.setMinimumWidth(min(self._inside.minimumSizeHint().width() + EDGES_PX, SIZE_PX[0]))

    def show_at_work(self, is_at_work: bool) -> None:
        """Encoders are at work, or no longer."""
        self.check.setEnabled(not is_at_work)
        self.progress.setVisible(is_at_work)
        self.encodes_note.setVisible(bool(self.encodes.cells) or not is_at_work)

    def show_progress(self, words: str, share: float) -> None:
        """So far they have come."""
        self.progress.show_progress(words, share)

    def say(self, sentence: str) -> None:
        """What could not be done; empty for nothing."""
        _show(self.problem, sentence)


class _Wished:
    """A tick and a rate for one encoder; off where it is not there."""

    def __init__(self, codec: Codec) -> None:
        self._codec = codec
        self.box = QCheckBox(codec.title)
        rates, name = (codec.lowest_kbps, codec.highest_kbps), f"{codec.title} kb/s"
        self.kbps = number_box(*rates, USUAL_KBPS, " kb/s", name, decimals=0)
        is_there = codec.key in available()
        self.why_not = "" if is_there else f"There is no encoder for {codec.title} in this installation."
        self.box.setToolTip(self.why_not)
        self.box.setEnabled(is_there)
        self.kbps.setEnabled(False)
        self.box.toggled.connect(self.kbps.setEnabled)

    def wish(self, kbps: int) -> None:
        """Tick it, at this rate, where it is there."""
        self.kbps.setValue(kbps)
        self.box.setChecked(not self.why_not)

    def text(self) -> str:
        """Such as "aac:256"; empty where it is not ticked."""
        return f"{self._codec.key}:{self.kbps.value():.0f}" if self.box.isChecked() else ""


class _Table(QWidget):
    """Rows under headings; hidden while it is empty."""

    def __init__(self, headings: Sequence[str]) -> None:
        super().__init__()
        self._headings = headings
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setHorizontalSpacing(3 * SPACE_PX)
        self._grid.setVerticalSpacing(3)
        self._grid.setColumnStretch(len(headings), 1)
        self.cells: list[list[QLabel]] = []
        for column, text in enumerate(headings):
            self._grid.addWidget(label(text, size_px=SMALL_PX, is_soft=True), 0, column, self._side(column))

    @staticmethod
    def _side(column: int) -> Qt.AlignmentFlag:
        side = Qt.AlignmentFlag.AlignLeft if column == 0 else Qt.AlignmentFlag.AlignRight
        return side | Qt.AlignmentFlag.AlignTop

    def fill(self, rows: Sequence[Sequence[str]]) -> None:
        """Show these."""
        for one in (cell for row in self.cells for cell in row):
            self._grid.removeWidget(one)
            one.deleteLater()
        self.cells = []
        for number, texts in enumerate(rows, 1):
            cells = [prose(text, wraps=False) for text in texts]
            for column, cell in enumerate(cells):
                cell.setAccessibleName("" if column == 0 else f"{self._headings[column]} {texts[column]}")
                self._grid.addWidget(cell, number, column, self._side(column))
            self.cells.append(cells)
        self.setVisible(bool(rows))


def _show(line: QLabel, sentence: str) -> None:
    line.setText(typeset(capital(sentence)))
    line.setVisible(bool(sentence))
