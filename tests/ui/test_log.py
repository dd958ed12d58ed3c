import logging
import threading

import pytest

from ui import log


@pytest.fixture
def started(leadline_home):
    """The log, started; as it was before afterwards."""
    path = log.start()
    yield path
    for name in log.NAMES:
        logger = logging.getLogger(name)
        for handler in list(logger.handlers):
            handler.close()
            logger.removeHandler(handler)
        logger.setLevel(logging.NOTSET)


def test_the_log_is_written_into_its_folder(started, leadline_home):
    logging.getLogger("ui.window").info("something happened")
    logging.getLogger("meter.engine").info("something else")
    assert started == leadline_home / "leadline.log"
    text = started.read_text()
    assert "INFO ui.window: something happened" in text and "meter.engine: something else" in text


def test_a_home_that_cannot_be_written_costs_the_file_only(tmp_path, monkeypatch):
    file = tmp_path / "file"
    file.write_text("")
    monkeypatch.setenv("LEADLINE_HOME", str(file))
    assert log.start() is None
    for name in log.NAMES:
        logging.getLogger(name).handlers.clear()
        logging.getLogger(name).setLevel(logging.NOTSET)


def test_a_disk_that_takes_no_line_is_no_traceback(started, leadline_home, capsys):
    (leadline_home / "leadline.log").mkdir()
    logging.getLogger("ui.window").warning("the folder may not be written")
    assert capsys.readouterr().err == ""


def test_a_mistake_in_a_thread_is_logged_and_told_once(caplog):
    told = []
    mishaps = log.Mishaps(told.append)
    mishaps.watch()
    try:
        thread = threading.Thread(target=lambda: 1 / 0)
        thread.start()
        thread.join()
        again = threading.Thread(target=lambda: 1 / 0)
        again.start()
        again.join()
    finally:
        mishaps.leave()
    assert told == [
        "something went wrong in the program (division by zero); it goes on. Please report it with the log"
    ]
    assert caplog.text.count("it was not caught") == 1
    caplog.clear()
