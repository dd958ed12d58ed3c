import hashlib

import numpy as np
import pytest
import soundfile
from PyQt6.QtCore import Qt

from tests.delivery.test_encoded import loud

RATE_HZ = 48_000


@pytest.fixture
def master(tmp_path):
    path = tmp_path / "master.wav"
    soundfile.write(path, loud(2.0, 4), RATE_HZ, subtype="PCM_24")
    return path


def show(scene, *paths):
    desk = scene.conductor.desk
    count = len(desk.files)
    desk.open([str(path) for path in paths])
    scene.until(lambda: len(desk.files) == count + len(paths) and desk._waiting == 0)


def page_of(scene, encoders="opus:128"):
    scene.state.remember(encoders=encoders)
    scene.conductor.actions["delivery"].trigger()
    return scene.conductor.delivery.page


def check(scene, page):
    scene.qtbot.mouseClick(page.check, Qt.MouseButton.LeftButton)
    scene.until(lambda: scene.conductor.delivery.at_work is None)


def texts(table):
    return [[cell.text() for cell in row] for row in table.cells]


def row_of(scene):
    passes = scene.window.passes
    return passes.item(passes.currentRow()).text().split("\n")


def test_a_file_is_tried_and_its_pass_tells_of_it(scene, master):
    show(scene, master)
    before = hashlib.sha256(master.read_bytes()).hexdigest()
    page = page_of(scene, "aac:256,opus:128")
    assert not page.encodes.isVisible() and page.encodes_note.text().startswith("Not tried yet")
    check(scene, page)
    file = scene.conductor.going.file
    tried = file.checked.encodes
    assert [one.wish.title for one in tried] == ["AAC 256 kb/s", "Opus 128 kb/s"]
    shown = texts(page.encodes)
    assert [row[0] for row in shown] == ["AAC 256 kb/s, 48 kHz", "Opus 128 kb/s, 48 kHz"]
    for row, one in zip(shown, tried):
        assert row[1] == f"+{one.true_peak_dbtp:.1f} dBTP" and row[2] == str(one.over_count)
        assert row[3].startswith("0:0") and row[5] == f"{one.trim_db:.1f} dB lower"
    assert page.finding.isVisible() and "with this encoder at this rate" in page.finding.text()
    assert f"Opus 128  TP +{tried[1].true_peak_dbtp:.1f}" in row_of(scene)
    tip = scene.window.passes.currentItem().toolTip()
    assert f"Opus 128 kb/s: +{tried[1].true_peak_dbtp:.1f} dBTP; {tried[1].over_count} peak" in tip
    assert f"{tried[1].trim_db:.1f} dB lower keeps under it; I " in tip
    found = [one for one in scene.window.findings.findings if one.kind == "over once encoded"]
    assert len(found) == 1 and found[0].text in [one.text for one in file.findings]
    scene.window.findings.choose(found[0])
    assert not scene.window.encoding.isVisible() and not page.progress.isVisible()
    assert hashlib.sha256(master.read_bytes()).hexdigest() == before
    page.close()


def test_what_was_tried_stays_when_the_target_changes_and_is_replaced_when_it_is_tried_again(scene, master):
    show(scene, master)
    page = page_of(scene)
    check(scene, page)
    scene.conductor.choose_target("ebu-r128")
    kinds = [one.kind for one in scene.window.findings.findings]
    assert kinds.count("over once encoded") == 1 and scene.conductor.going.file.checked.encodes
    check(scene, page)
    assert scene.conductor.going.file.checked.encodes[0].ceiling_dbtp == -1.0
    assert "Held against −1.0 dBTP" in page.encodes_note.text()
    kinds = [one.kind for one in scene.window.findings.findings]
    assert kinds.count("over once encoded") == 1
    page.close()


def test_how_far_it_is_stands_in_the_window_and_cancel_ends_it(scene, master):
    show(scene, master)
    page, delivery, said = page_of(scene), scene.conductor.delivery, []
    delivery.said.connect(said.append)
    told = []

    def hear(words, share):
        told.append((words, share))
        scene.window.encoding.cancel.click()

    delivery.progressed.connect(hear)
    scene.qtbot.mouseClick(page.check, Qt.MouseButton.LeftButton)
    assert scene.window.encoding.isVisible() and page.progress.isVisible() and not page.check.isEnabled()
    scene.until(lambda: delivery.at_work is None)
    assert told[0][0].startswith("trying master.wav: ") and told[0][0].endswith(" %")
    assert said == ["cancelled; what encoders made of it before stays"]
    assert not scene.window.encoding.isVisible() and page.check.isEnabled()
    assert scene.conductor.going.file.checked.encodes == ()
    page.close()


def test_what_is_wished_is_remembered_and_wished_again(scene, master):
    show(scene, master)
    page = page_of(scene, "mp3:320")
    assert page.wished() == "mp3:320"
    page.encoders["aac"].box.setChecked(True)
    page.encoders["aac"].kbps.setValue(96)
    check(scene, page)
    assert scene.state.choices.encoders == "aac:96,mp3:320"
    page.close()
    assert page_of(scene, scene.state.choices.encoders).wished() == "aac:96,mp3:320"
    scene.conductor.delivery.page.close()


def test_an_encoder_that_is_missing_is_said_and_cannot_be_ticked(scene, master, monkeypatch):
    monkeypatch.setattr("ui.delivery_page.available", lambda: ("aac", "mp3"))
    show(scene, master)
    page = page_of(scene, "opus:128,mp3:320")
    assert page.wished() == "mp3:320" and not page.encoders["opus"].box.isEnabled()
    assert page.encoders["opus"].why_not == "There is no encoder for Opus in this installation."
    page.close()


def test_without_any_encoder_ticked_a_sentence_says_so(scene, master):
    show(scene, master)
    page = page_of(scene, "")
    page.check.click()
    assert page.problem.text() == "No encoder is chosen; tick one at least"
    assert scene.conductor.delivery.at_work is None
    page.close()


@pytest.mark.parametrize(
    ("seconds", "rate_hz", "channels", "said"),
    [
        (0.05, RATE_HZ, 2, "it is 0.05 s long, but 0.1 s to 15 minutes were expected"),
        (1.0, RATE_HZ, 6, "there are 6 channels, but the encoders are tried with mono and stereo"),
    ],
)
def test_what_cannot_be_tried_is_one_sentence_in_the_window(
    scene, tmp_path, seconds, rate_hz, channels, said
):
    path = tmp_path / "odd.wav"
    frames = np.repeat(loud(seconds, 3)[:, :1], channels, axis=1)
    soundfile.write(path, frames, rate_hz)
    show(scene, path)
    page = page_of(scene, "opus:128,mp3:320")
    check(scene, page)
    message = scene.window.message.label.text()
    assert said in message and message.count(said) == 1 and message == page.problem.text()
    assert "--" not in message, "in a window there are no options"
    page.close()


@pytest.mark.parametrize(("seconds", "rate_hz", "channels"), [(0.1, RATE_HZ, 2), (1.0, 96_000, 1)])
def test_short_high_and_mono_files_are_tried_too(scene, tmp_path, seconds, rate_hz, channels):
    path = tmp_path / "odd.wav"
    soundfile.write(path, loud(seconds, 3, clip=0.3, rate_hz=rate_hz)[:, :channels], rate_hz)
    show(scene, path)
    page = page_of(scene, "aac:256,opus:128")
    check(scene, page)
    assert [row[5] for row in texts(page.encodes)] == ["as it is", "as it is"]
    assert not page.problem.isVisible() and not page.finding.isVisible()
    page.close()


def test_a_file_that_has_gone_is_one_sentence(scene, master):
    show(scene, master)
    master.unlink()
    page = page_of(scene)
    check(scene, page)
    assert "master.wav" in page.problem.text() and "\n" not in page.problem.text()
    page.close()


def test_without_a_file_a_sentence_says_what_to_do(scene):
    scene.conductor.actions["delivery"].trigger()
    assert scene.window.message.label.text() == (
        "Encoders and playback are told of a file; open one, or choose it in the list"
    )


def test_playback_is_told_without_levelling_and_at_each_level_and_follows_the_choices(scene, master):
    show(scene, master)
    page = page_of(scene)
    summary = scene.conductor.going.file.checked.summary
    plain, aes, _, gain_2, own = texts(page.playback)
    assert plain[0] == "not levelled" and plain[2] == f"−{-summary.integrated_lufs:.1f} LUFS"
    assert aes[0] == "AES, music" and aes[2] == "−16.0 LUFS" and gain_2[2] == "−18.0 LUFS"
    assert aes[1] == f"−{16.0 + summary.integrated_lufs:.1f} dB"
    assert own[0] == "your own" and own[2] == "−14.0 LUFS"
    page.own.setValue(0.0)
    assert texts(page.playback)[-1][4].endswith("dB too high")
    page.turns_up.setChecked(False)
    assert texts(page.playback)[-1][1] == "0.0 dB, not turned up"
    assert scene.state.choices.playback_own_lufs == 0.0 and not scene.state.choices.playback_turns_up
    page.close()


def test_several_files_are_told_as_an_album(scene, master, tmp_path):
    quiet = tmp_path / "quiet.wav"
    soundfile.write(quiet, loud(2.0, 4) * 0.5, RATE_HZ, subtype="PCM_24")
    show(scene, master, quiet)
    scene.conductor.desk.choose(1)
    page = page_of(scene)
    rows = {row[0]: row for row in texts(page.playback)}
    album = rows["AES, music, album of 2"]
    assert album[2] == "−20.0 LUFS", "6 dB under the loudest, which is brought to -14"
    page.close()


def test_silence_has_nothing_to_level(scene, tmp_path):
    path = tmp_path / "silent.wav"
    soundfile.write(path, np.zeros((RATE_HZ, 2)), RATE_HZ)
    show(scene, path)
    page = page_of(scene)
    assert not page.playback.isVisible() and page.playback_note.text().startswith("It is silent")
    page.close()


def test_the_end_of_the_program_ends_the_encoders(make_scene, tmp_path):
    scene = make_scene().start().until_open()
    path = tmp_path / "long.wav"
    soundfile.write(path, loud(30.0, 4), RATE_HZ)
    show(scene, path)
    page_of(scene, "aac:256").check.click()
    scene.conductor.quit()
    assert not scene.conductor.delivery.errands._thread.is_alive()
