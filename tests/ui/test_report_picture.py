"""A report as a picture: everything on it, nothing cut off, and only a report is written over."""

import numpy as np
import pytest
import soundfile
from PyQt6.QtGui import QImage

from meter import cli
from meter.report.material import material_of
from meter.report.page import page
from meter.report.picture import MARGIN_PX, PAPER, TUNE_COLUMNS_PX, TUNE_HEADINGS, WIDTH_PX, picture_of
from meter.report.rows import CAUTION, number_rows
from tests.report.test_report import Page, kept_pass, music
from ui import entry, fonts, report_picture

pytestmark = pytest.mark.usefixtures("qapp")


@pytest.fixture
def tune(tmp_path):
    path = tmp_path / f"a{'_very' * 20}_long_name & more.wav"
    frames = music(12.0, opposite_from_s=6.0)
    frames[240_000:240_040] = 1.3
    soundfile.write(path, frames, 48_000, subtype="FLOAT")
    return str(path)


def drawn(to, *arguments):
    assert entry.main(["report", *arguments, "--to", str(to)]) == 0
    image = QImage(str(to))
    assert not image.isNull()
    return image


def pixels(image):
    """Colours as numbers, a row a line."""
    made = image.convertToFormat(QImage.Format.Format_RGB32)
    bits = made.constBits()
    bits.setsize(made.sizeInBytes())
    return np.frombuffer(bits, np.uint32).reshape(made.height(), made.width()) & 0xFFFFFF


def test_a_file_is_drawn_with_nothing_in_the_margins(tune, tmp_path):
    """What is too wide would run over the right one: Qt draws on, and the picture ends."""
    seen = pixels(drawn(tmp_path / "r.png", tune, "--target", "club", "--playback", "all"))
    paper = int(PAPER[1:], 16)
    assert seen.shape[1] == WIDTH_PX
    inner = MARGIN_PX - 6  # letters hang over a little
    for part in (seen[:inner], seen[-inner:], seen[:, :inner], seen[:, -inner:]):
        assert (part == paper).all()
    assert 0.03 < (seen != paper).mean() < 0.5
    assert (seen == 0xB34700).any()  # an over


def test_a_picture_says_what_the_page_says(tune):
    material = material_of(tune, target=None)
    made = picture_of(material)
    said = Page("".join([made.head, *made.body]).replace("&nbsp;", " ")).text
    assert CAUTION in said
    for name, value in number_rows(material):
        assert name in said
        assert value in said
    on_page = Page(page(material)).text
    assert all(word in on_page for word in said.split())
    for _, text in material.findings:
        assert text in said


def test_a_set_has_its_tunes_and_a_column_holds_what_stands_in_it(tmp_path):
    number = kept_pass(is_set=True, steps_db=(-6.0, 0.0), seconds=100.0)
    image = drawn(tmp_path / "set.png", str(number))
    assert image.height() > 2000
    widest = ("888", "88:88:88", "1:88:88", "-88.8", "+88.8", "+88.8")
    for texts in (TUNE_HEADINGS[:-1], widest):
        for text, wide_px in zip(texts, TUNE_COLUMNS_PX, strict=True):
            is_bold = text.startswith("+")
            assert fonts.metrics(32, is_bold=is_bold).horizontalAdvance(text) <= wide_px


@pytest.mark.parametrize("channels", [1, 2, 6])
def test_one_channel_silence_and_six_channels_are_drawn(tmp_path, channels):
    for name, sound in (("sound", 0.1), ("silence", 0.0)):
        path = tmp_path / f"{name}.wav"
        frames = sound * np.random.default_rng(1).standard_normal((96_000, channels))
        soundfile.write(path, frames, 48_000)
        seen = pixels(drawn(tmp_path / f"{name}.png", str(path)))
        assert 0.01 < (seen != 0xFFFFFF).mean() < 0.5


def test_only_a_report_is_written_over(tune, tmp_path, capsys):
    to = tmp_path / "r.png"
    drawn(to, tune)
    drawn(to, tune)  # its own
    other = QImage(8, 8, QImage.Format.Format_RGB32)
    other.fill(0)
    assert other.save(str(to))
    before = to.read_bytes()
    assert entry.main(["report", tune, "--to", str(to)]) == 2
    assert "is there and no report" in capsys.readouterr().err
    assert to.read_bytes() == before
    drawn(to, tune, "--force")


def test_without_somebody_who_draws_it_is_one_sentence(tune, tmp_path, capsys, monkeypatch):
    to = tmp_path / "r.png"
    assert cli.main(["report", tune, "--to", str(to)]) == 2
    assert "this way of starting draws no pictures; start it with leadline" in capsys.readouterr().err
    monkeypatch.setattr(report_picture, "why_no_picture", lambda: "PyQt6 is not installed")
    assert entry.main(["report", tune, "--to", str(to)]) == 2
    said = capsys.readouterr().err.splitlines()
    assert said[-1] == (
        "error: no picture can be drawn: PyQt6 is not installed; a page needs nothing of this: --to FILE.html"
    )
    assert not to.exists()
