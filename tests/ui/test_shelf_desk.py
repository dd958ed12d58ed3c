import pytest
import soundfile
from PyQt6.QtCore import Qt

from meter.shelf.in_window import names_and_spread
from tests.support.sound import noise


@pytest.fixture
def tunes(tmp_path):
    for name, seed, level_dbfs in (("mine.wav", 4, -22.0), ("theirs.wav", 5, -18.0), ("third.wav", 6, -20.0)):
        soundfile.write(tmp_path / name, noise(6.0, seed=seed, level_dbfs=level_dbfs), 48_000)
    return tmp_path


def show(scene, path):
    count = len(scene.conductor.desk.files)
    scene.conductor.desk.open([str(path)])
    scene.until(lambda: len(scene.conductor.desk.files) > count and scene.conductor.desk._waiting == 0)


def keep(scene, path):
    show(scene, path)
    count = len(scene.conductor.shelf.names)
    scene.conductor.actions["keep"].trigger()
    scene.until(lambda: len(scene.conductor.shelf.names) > count)


def rows(scene):
    passes = scene.window.passes
    return [passes.item(row).text().split("\n")[0] for row in range(passes.count())]


def test_a_shown_file_is_kept_and_undo_takes_it_away(scene, tunes):
    keep(scene, tunes / "theirs.wav")
    assert rows(scene) == ["What sounds now", "Opened", "theirs.wav", "Shelf", "theirs"]
    message = scene.window.message
    assert message.label.text().startswith('"theirs" is on the shelf')
    scene.qtbot.mouseClick(message.undo, Qt.MouseButton.LeftButton)
    scene.until(lambda: not scene.conductor.shelf.names)
    assert names_and_spread() == ([], None) and rows(scene)[-1] == "theirs.wav" and not message.isVisible()


def test_a_name_that_is_taken_gets_a_number(scene, tunes):
    keep(scene, tunes / "theirs.wav")
    keep(scene, tunes / "theirs.wav")
    assert rows(scene)[-3:] == ["All of them", "theirs", "theirs (2)"]


def test_choosing_a_reference_compares_what_is_shown_with_it_equally_loud(scene, tunes):
    keep(scene, tunes / "theirs.wav")
    show(scene, tunes / "mine.wav")
    shelf, passes = scene.conductor.shelf, scene.window.passes
    passes.itemActivated.emit(passes.item(passes.count() - 1))
    scene.until(lambda: shelf.page is not None)
    page = shelf.page
    assert page.accessibleName() == 'mine against "theirs", equally loud'
    assert page.headline.text().startswith("Turn it up by 4.")
    assert "dB to make its loudest 30 s as loud" in page.headline.text()
    assert page.plot.accessibleDescription().startswith("20 Hz ")
    page.grab()
    page.close()


def test_all_of_the_shelf_is_compared_with_at_once(scene, tunes):
    for name in ("theirs.wav", "third.wav"):
        keep(scene, tunes / name)
    show(scene, tunes / "mine.wav")
    scene.conductor.shelf.compare(0)
    scene.until(lambda: scene.conductor.shelf.page is not None)
    every = scene.conductor.shelf.page
    assert every.accessibleName() == "mine against your 2 references, equally loud"
    scene.conductor.shelf.compare(2)
    scene.until(lambda: scene.conductor.shelf.page is not every)
    assert not every.isVisible(), "one comparison at a time"
    assert scene.conductor.shelf.page.accessibleName() == 'mine against "third", equally loud'
    scene.conductor.shelf.page.close()


def test_a_pass_that_was_heard_is_compared_without_a_spectrum(scene, tunes):
    keep(scene, tunes / "theirs.wav")
    scene.conductor.going.go_live()
    scene.play_music(4.0)
    scene.until(lambda: scene.window.passes.newest is not None)
    scene.conductor.shelf.compare(0)
    scene.until(lambda: scene.conductor.shelf.page is not None)
    page = scene.conductor.shelf.page
    assert page.accessibleName() == 'pass 1 against "theirs", equally loud'
    assert not hasattr(page, "plot") and page.below[0].text().startswith("No spectrum")
    page.close()


def test_delete_takes_a_reference_away_and_undo_brings_it_back(scene, tunes):
    keep(scene, tunes / "theirs.wav")
    passes = scene.window.passes
    passes.setCurrentRow(passes.count() - 1)
    scene.qtbot.keyClick(passes, Qt.Key.Key_Delete)
    scene.until(lambda: not scene.conductor.shelf.names)
    assert scene.window.message.label.text() == '"theirs" was taken off the shelf'
    scene.window.message.undo.click()
    scene.until(lambda: scene.conductor.shelf.names == ["theirs"])


def test_with_nothing_to_keep_or_compare_a_sentence_says_so(scene):
    shelf = scene.conductor.shelf
    for act, word in ((shelf.keep, "keep"), (lambda: shelf.compare(0), "compare")):
        act()
        assert scene.window.message.label.text() == (
            f"There is nothing to {word} yet; open a file, or play a tune"
        )
        assert not scene.window.message.undo.isVisible()


def test_a_silent_file_is_refused_in_words(scene, tmp_path):
    soundfile.write(tmp_path / "silent.wav", 0.0 * noise(2.0, seed=1, level_dbfs=-20.0), 48_000)
    show(scene, tmp_path / "silent.wav")
    scene.conductor.shelf.keep()
    scene.until(scene.window.message.isVisible)
    assert "is silent" in scene.window.message.label.text() and names_and_spread() == ([], None)


def test_how_loud_the_shelf_is_stands_as_a_bar_beside_the_lane_and_is_told(scene, tunes):
    lanes = scene.window.lanes
    assert lanes._picture.spread is None
    for name in ("theirs.wav", "mine.wav"):
        keep(scene, tunes / name)
    spread = scene.conductor.shelf.spread
    assert lanes._picture.spread == spread and spread.count == 2
    assert spread.highest_lufs - spread.lowest_lufs == pytest.approx(4.0, abs=0.2)
    said = scene.conductor.shelf.spoken("loudness", "How loud? nothing yet")
    begins = "How loud? nothing yet; the loudest 30 s of the 2 references on the shelf lie from -"
    assert said.startswith(begins)
    assert scene.conductor.shelf.spoken("peak", "Any overs?") == "Any overs?"
    assert has_bar(lanes)


def has_bar(lanes):
    """Whether pixels in the colour of the shelf stand right of the plot of the first lane."""
    picture = lanes._picture
    box = picture.layout(lanes.width(), lanes.height(), lanes.devicePixelRatioF()).lanes[0]
    image = lanes.grab().toImage()
    ratio = image.devicePixelRatio()
    x = round((box.plot.right() + 6.0) * ratio)
    rows = range(int(box.plot.top() * ratio), int(box.plot.bottom() * ratio))
    return [image.pixelColor(x, y).name() for y in rows].count(picture.theme.series[2]) > 3
