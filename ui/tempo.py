"""The tempo of the fold by phrase: beats a minute, and where the first downbeat is."""

from __future__ import annotations

from PyQt6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QDoubleSpinBox,
    QFormLayout,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from ui.state import BPM_RANGE, DOWNBEAT_RANGE_S
from ui.style import SPACE_PX, label

USUAL_BPM = 140.0


class TempoDialog(QDialog):
    """Asks for a tempo.

    Parameters
    ----------
    bpm : float
        0 = none so far.
    downbeat_s : float
        From the beginning of the pass.
    here_s : float or None
        The chosen moment, offered as the downbeat.
    """

    def __init__(
        self, bpm: float, downbeat_s: float, here_s: float | None = None, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.setObjectName("page")
        self.setWindowTitle("Fold by phrase · Leadline")
        self.bpm = QDoubleSpinBox()
        self.bpm.setRange(*BPM_RANGE)
        self.bpm.setDecimals(2)
        self.bpm.setSuffix(" beats a minute")
        self.bpm.setValue(bpm or USUAL_BPM)
        self.downbeat = QDoubleSpinBox()
        self.downbeat.setRange(*DOWNBEAT_RANGE_S)
        self.downbeat.setDecimals(2)
        self.downbeat.setSuffix(" s into the pass")
        self.downbeat.setValue(downbeat_s)
        about = label(
            "16 bars of four beats are laid over each other,\nso that both drops of a tune can be compared."
        )
        form = QFormLayout()
        form.setVerticalSpacing(SPACE_PX)
        form.setHorizontalSpacing(2 * SPACE_PX)
        for words, box in (("&Tempo", self.bpm), ("First &downbeat", self.downbeat)):
            box.setAccessibleName(words.replace("&", ""))
            box.setButtonSymbols(QDoubleSpinBox.ButtonSymbols.NoButtons)
            form.addRow(words, box)
        if here_s is not None:
            here = QPushButton("Take the chosen moment")
            here.clicked.connect(lambda: self.downbeat.setValue(here_s))
            form.addRow("", here)
        buttons = QDialogButtonBox()
        self.fold = buttons.addButton("Fold", QDialogButtonBox.ButtonRole.AcceptRole)
        buttons.addButton("Cancel", QDialogButtonBox.ButtonRole.RejectRole)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(*(3 * SPACE_PX,) * 4)
        layout.setSpacing(2 * SPACE_PX)
        layout.addWidget(about)
        layout.addLayout(form)
        layout.addWidget(buttons)
