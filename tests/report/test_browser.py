"""The page of a report in a real browser: on a phone, on a desk, in the dark and on paper."""

import base64

import pytest
import soundfile

from meter.cli import main
from meter.journal.store import open_journal
from meter.tunes.store import PassTunes
from tests.report.test_report import RATE_HZ, kept_pass, music
from tests.support import report_samples
from tests.support.browser import Browser

pytestmark = pytest.mark.packages("chromium")

PHONE, DESK = (390, 844), (1280, 900)
LONG_NAME = "An invented tune with a rather long name (the second mix)_and_no_space" + 30 * "_more"

WRONG = """((wide) => {
  const seen = [], wrong = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode, range = document.createRange();
    if (!node.data.trim() || node.parentElement.closest('style')) continue;
    range.selectNodeContents(node);
    const drawing = node.parentElement.closest('svg');
    const around = drawing ? drawing.getBoundingClientRect() : {left: 0, right: wide};
    const boxes = [...range.getClientRects()].filter((one) => one.width > 0);
    const isMeant = getComputedStyle(node.parentElement).display === 'none';
    if (!boxes.length && !isMeant) wrong.push('hidden: ' + node.data);
    for (const box of boxes) {
      let isCut = box.left < around.left - 0.5 || box.right > around.right + 0.5;
      isCut ||= drawing && (box.top < around.top - 0.5 || box.bottom > around.bottom + 0.5);
      if (isCut) wrong.push('cut off: ' + node.data);
      for (const [other, text] of seen) {
        const across = Math.min(box.right, other.right) - Math.max(box.left, other.left);
        const high = Math.min(box.bottom, other.bottom) - Math.max(box.top, other.top);
        if (text !== node && across > 1 && high > 4) wrong.push('over: ' + node.data + ' / ' + text.data);
      }
    }
    for (const box of boxes) seen.push([box, node]);
  }
  if (document.documentElement.scrollWidth > wide) wrong.push('it scrolls sideways');
  return [seen.length, wrong];
})(%d)"""


@pytest.fixture(scope="module")
def browser():
    with Browser() as browser:
        browser.call("Emulation.setScriptExecutionDisabled", value=True)
        yield browser


def opened(browser, path, size=PHONE, *, scheme="light", media="screen"):
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    browser.call("Emulation.setEmulatedMedia", media=media, features=features)
    browser.resize(*size)
    browser.open("about:blank")
    browser.events.clear()
    browser.open(path.as_uri())
    browser.wait_for("document.readyState === 'complete' && document.querySelector('footer') !== null")
    return browser


def check(browser, path):
    """At every size, everything is there and nothing lies on, or outside, something else."""
    for size in (PHONE, DESK, (320, 568)):
        count, wrong = opened(browser, path, size).ask(WRONG % size[0])
        assert count > 40
        assert wrong == [], size


def told(tmp_path, what, *more):
    path = tmp_path / "report.html"
    assert main(["report", str(what), "--to", str(path), *more]) == 0
    return path


@pytest.fixture
def master(tmp_path):
    path = tmp_path / f"{LONG_NAME[:200]}.wav"
    frames = music(12.0, opposite_from_s=6.0)
    frames[240_000:240_040] = 1.3
    soundfile.write(path, frames, RATE_HZ, subtype="FLOAT")
    return path


def test_a_master_can_be_read_at_every_width(browser, master, tmp_path):
    check(browser, told(tmp_path, master, "--target", "club", "--playback", "all"))


@pytest.mark.long
def test_what_encoders_make_of_a_master_can_be_read_at_every_width(browser, master, tmp_path):
    check(browser, told(tmp_path, master, "--encode", "aac:256,mp3:320,opus:128"))


def test_a_set_can_be_read_at_every_width(browser, tmp_path):
    number = kept_pass(is_set=True, steps_db=(-6.0, 0.0), seconds=100.0)
    with open_journal() as journal:
        PassTunes(journal, journal.kept_pass(number)).name(2, LONG_NAME)
    path = told(tmp_path, number)
    check(browser, path)
    assert LONG_NAME in opened(browser, path).text()


def test_it_asks_for_nothing_but_itself_and_complains_of_nothing(browser, master, tmp_path):
    path = told(tmp_path, master)
    opened(browser, path)
    asked = [one["params"] for one in browser.events if one["method"] == "Network.requestWillBeSent"]
    assert [one["request"]["url"] for one in asked] == [path.as_uri()]
    assert browser.complaints() == []


def test_it_is_dark_where_that_is_wished_and_white_on_paper(browser, master, tmp_path):
    path, ground = told(tmp_path, master), "getComputedStyle(document.body).backgroundColor"
    assert opened(browser, path).ask(ground) == "rgb(255, 255, 255)"
    assert opened(browser, path, scheme="dark").ask(ground) == "rgb(22, 24, 28)"
    assert opened(browser, path, scheme="dark", media="print").ask(ground) == "rgb(255, 255, 255)"
    printed = browser.call("Page.printToPDF", paperWidth=8.27, paperHeight=11.69)
    assert base64.b64decode(printed["data"]).startswith(b"%PDF")


@pytest.mark.long
def test_hours_of_a_set_can_be_read_at_every_width(browser, tmp_path):
    check(browser, told(tmp_path, report_samples.kept_set(4.0), "--target", "club"))
    check(browser, told(tmp_path, report_samples.kept_set(1.2, is_ended=False)))
