"""Earlier passes in the window: found, drawn like a file, forgotten and brought back."""

from PyQt6.QtCore import Qt

from meter import earlier
from tests.test_earlier import keep


def asked(scene):
    scene.conductor.actions["earlier"].trigger()
    page = scene.conductor.earlier.page
    scene.until(lambda: not page.words.text().startswith("looking"))
    return page


def test_without_any_it_says_what_is_kept(scene):
    page = asked(scene)
    assert page.list.count() == 0 and "never audio" in page.words.text()
    assert not page.draw.isEnabled() and not page.forget.isEnabled()


def test_one_is_drawn_with_its_numbers_and_what_is_heard_goes_on(scene):
    keep(level_dbfs=-3.0)
    keep(began_unix_s=1.1e9)
    page = asked(scene)
    assert page.list.count() == 2
    page.list.setCurrentRow(1)
    page.draw.click()
    scene.until(lambda: scene.conductor.going.file is not None)
    going = scene.conductor.going
    assert not page.isVisible()
    assert going.timeline.slots == 200 and scene.window.findings.findings == going.file.findings != ()
    scene.until(lambda: "what the system plays" in scene.said())
    before = scene.timeline.slots
    scene.play_music(2.0)
    assert scene.timeline.slots > before
    page = asked(scene)
    page.list.setCurrentRow(1)
    page.draw.click()
    scene.until(lambda: going.file is not None)
    assert len(scene.conductor.desk.files) == 1, "it is listed once"
    scene.conductor.actions["delivery"].trigger()
    assert "its audio was not kept" in scene.window.message.label.text()
    scene.conductor.actions["keep"].trigger()
    scene.until(lambda: scene.conductor.shelf.names)


def test_a_search_hides_the_others_and_what_is_hidden_is_not_drawn(scene):
    keep()
    page = asked(scene)
    page.find.setText("no such day")
    assert page.list.item(0).isHidden()
    page._look()
    page._draw()
    assert page.isVisible() and not page.draw.isEnabled()
    page.find.setText("2001 system")
    assert not page.list.item(0).isHidden()


def test_what_is_looked_for_is_chosen_and_down_leads_to_it(scene, qtbot):
    keep()
    keep(began_unix_s=1.1e9)
    page = asked(scene)
    page.find.setFocus()
    page.find.setText(page.list.item(1).text().split()[1])
    assert page.list.currentRow() == 1 and page.draw.isEnabled()
    qtbot.keyClick(page.find, Qt.Key.Key_Down)
    scene.until(page.list.hasFocus)
    page.find.setText("no such day")
    assert not page.draw.isEnabled() and not page.forget.isEnabled()


def test_one_is_forgotten_with_delete_and_comes_back(scene, qtbot):
    keep()
    page = asked(scene)
    qtbot.keyClick(page.list, Qt.Key.Key_Delete)
    scene.until(lambda: page.list.count() == 0)
    assert "is forgotten" in scene.window.message.label.text()
    scene.window.message.undo.click()
    scene.until(lambda: page.list.count() == 1)
    qtbot.keyClick(page.list, Qt.Key.Key_Delete)
    scene.until(lambda: page.list.count() == 0)
    scene.conductor.actions["undo"].trigger()
    scene.until(lambda: page.list.count() == 1)
    scene.conductor.actions["undo"].trigger()
    assert scene.window.message.isHidden()


def test_of_several_the_last_forgotten_comes_back_first_and_then_the_others(scene):
    older, newer = keep(), keep(began_unix_s=1.1e9)
    page = asked(scene)
    for number, left in ((newer, 1), (older, 0)):
        scene.conductor.earlier.forget(number)
        scene.until(lambda left=left: page.list.count() == left)
    message = scene.window.message
    assert f"Pass {older} is forgotten" in message.label.text()
    earlier.forget([keep(began_unix_s=1.2e9)])  # by another program
    message.undo.click()
    scene.until(lambda: page.list.count() == 1)
    assert page._number() == older
    assert f"Pass {newer} is forgotten" in message.label.text() and message.isVisible()
    message.undo.click()
    scene.until(lambda: page.list.count() == 2)
    assert message.isHidden()


def test_what_went_meanwhile_is_one_sentence(scene):
    keep()
    asked(scene)
    scene.conductor.earlier.draw(99)
    scene.until(lambda: "99" in scene.window.message.label.text())
    assert scene.conductor.going.file is None
