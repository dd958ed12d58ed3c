"""The small page of the low end: concert pitch, key, the band of the kick, the crossover, what that costs."""

from __future__ import annotations

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import (
    QDialog,
    QDoubleSpinBox,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QVBoxLayout,
    QWidget,
)

from meter.errors import UsageError
from meter.low_end.settings import A4_RANGE_HZ, KICK_RANGE_HZ, LowEndSettings
from ui.parts import number_box, ok_and_cancel, scrolled
from ui.style import SMALL_PX, SPACE_PX, label, typeset

WIDTH_PX = 500
ANSWERS_PX = 160


class LowEndPage(QDialog):
    """Asks for the settings, and says what the shown pass comes to with those of now.

    Parameters
    ----------
    settings : LowEndSettings
    answers : str
        See `meter.low_end.lanes.low_end_answers`.
    """

    def __init__(self, settings: LowEndSettings, answers: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Low end · Leadline")
        self.a4 = _hertz(*A4_RANGE_HZ, settings.a4_hz, "Concert pitch A4")
        self.key = QLineEdit(settings.key or "")
        self.key.setPlaceholderText("such as F minor; empty for none")
        self.key.setAccessibleName("Key")
        self.low = _hertz(*KICK_RANGE_HZ, settings.kick_band_hz[0], "Kick from")
        self.high = _hertz(*KICK_RANGE_HZ, settings.kick_band_hz[1], "Kick to")
        self.crossover = _hertz(40.0, 300.0, settings.crossover_hz, "Crossover")
        self.crossover.setToolTip(
            "In Master it holds for the next file, and live from now on, in a new pass; a set keeps its own"
        )
        self.problem = label("", size_px=SMALL_PX)
        self.problem.setWordWrap(True)
        self.problem.hide()
        band = QHBoxLayout()
        for part in (self.low, label("to"), self.high):
            band.addWidget(part)
        band.addStretch(1)
        form = QFormLayout()
        form.setSpacing(SPACE_PX)
        form.addRow("Concert pitch A4", self.a4)
        form.addRow("Key", self.key)
        form.addRow("Where you want the kick", band)
        form.addRow("Crossover of the club", self.crossover)
        self.answers = label(typeset(answers), size_px=SMALL_PX)
        self.answers.setWordWrap(True)
        self.answers.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.answers.setAccessibleName("")
        layout = QVBoxLayout(self)
        layout.setContentsMargins(*[2 * SPACE_PX] * 4)
        layout.setSpacing(2 * SPACE_PX)
        layout.addLayout(form)
        words = "They hold for all that is shown, heard or opened before too."
        note = label(words, size_px=SMALL_PX, is_soft=True)
        note.setWordWrap(True)
        layout.addWidget(note)
        layout.addWidget(self.problem)
        layout.addWidget(label("What this pass comes to"))
        scroll = scrolled(self.answers, "What this pass comes to")  # where the screen is low
        scroll.setMinimumHeight(ANSWERS_PX)
        layout.addWidget(scroll, 1)
        layout.addWidget(ok_and_cancel(self))
        self.setMinimumWidth(WIDTH_PX)

    def found(self) -> LowEndSettings | None:
        """What is asked for; None where it does not go together, which is said."""
        try:
            return LowEndSettings(
                a4_hz=self.a4.value(),
                key=self.key.text().strip() or None,
                kick_band_hz=(self.low.value(), self.high.value()),
                crossover_hz=self.crossover.value(),
            )
        except UsageError as error:
            self.problem.setText(str(error))
            self.problem.show()
            return None

    def accept(self) -> None:
        """Close only with settings that go together."""
        if self.found() is not None:
            super().accept()


def _hertz(low: float, high: float, value: float, name: str) -> QDoubleSpinBox:
    return number_box(low, high, value, " Hz", name)
