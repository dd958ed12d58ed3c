"""The page in a real browser: what can be read on it, above all when nothing comes any more."""

from dataclasses import replace

import pytest

from meter.capture.records import SourceStatus
from meter.second_screen import server
from meter.second_screen.address import bind
from meter.second_screen.server import SecondScreen
from tests.second_screen.moments import heard, noise
from tests.support.browser import Browser

pytestmark = pytest.mark.packages("chromium")

NUMBERS = "[...document.querySelectorAll('main .value')].map((one) => one.textContent)"
NOTICE = "document.getElementById('notice').textContent"


@pytest.fixture(scope="module")
def browser():
    with Browser() as browser:
        yield browser


class Stage:
    """A second screen whose moment a test sets."""

    def __init__(self, moment):
        self.moment = moment
        self.screen = SecondScreen(address=bind(), look=lambda: self.moment, on_problem=print)
        self.screen.start()

    def become(self, **changes):
        self.moment = replace(self.moment, **changes)


@pytest.fixture(scope="module")
def moment():
    return heard(noise(4.0))


@pytest.fixture
def stage(moment, monkeypatch):
    monkeypatch.setattr(server, "EVERY_S", 0.02)
    monkeypatch.setattr(server, "STOP_S", 0.05)
    made = Stage(moment)
    yield made
    made.screen.stop()


@pytest.fixture
def page(browser, stage):
    """The page, with numbers on it."""
    browser.events.clear()
    browser.open("about:blank")
    browser.open(stage.screen.url)
    browser.wait_for(f"document.readyState === 'complete' && {NUMBERS}.every((one) => one !== '--')")
    return browser


def test_the_numbers_stand_on_it_and_follow(page, stage):
    reading = stage.moment.reading
    expected = f"{reading.short_term_lufs:.1f}".replace("-", "−")
    assert page.ask("document.querySelector('#short_term .value').textContent") == expected
    assert page.ask(NUMBERS)[3] == "none"
    text = page.text()
    for word in ("LUFS", "dBTP", "LU below the ceiling", "held against Club", "no over so far"):
        assert word in text
    assert page.ask("getComputedStyle(document.body).backgroundColor") == "rgb(12, 3, 2)"  # night
    stage.become(of_set=replace(stage.moment.of_set, seconds=9.0, overs=1, last_over_s=7.0))
    page.wait_for("document.querySelector('#last_over .value').textContent === '2'")
    assert page.ask("document.getElementById('last_over').classList.contains('calls')")
    assert page.complaints() == []


def test_the_key_goes_out_in_a_header_and_in_no_address(page, stage):
    sent = [one["params"]["request"] for one in page.events if one["method"] == "Network.requestWillBeSent"]
    assert {one["url"].rpartition("/")[2] for one in sent} >= {"", "page.js", "page.css", "events"}
    assert not any(stage.screen.key in one["url"] for one in sent)
    (events,) = [one for one in sent if one["url"].endswith("/events")]
    assert events["headers"]["Authorization"] == f"Bearer {stage.screen.key}"
    assert all(one["url"].startswith(f"http://{stage.screen._address.authority}/") for one in sent)


def test_the_whole_page_fits_a_phone_upright_and_lying(page):
    whole = "document.documentElement"
    sizes = f"[{whole}.scrollWidth - innerWidth, {whole}.scrollHeight - innerHeight]"
    is_cut = "one.clientWidth > 0 && one.scrollWidth > one.clientWidth + 1"
    cut = f"[...document.querySelectorAll('main *')].filter((one) => {is_cut}).map((one) => one.className)"
    try:
        for width, height in ((390, 844), (390, 664), (360, 640), (844, 390), (768, 1024)):
            page.resize(width, height)
            page.wait_for(f"innerWidth === {width}")
            assert page.ask(sizes) == [0, 0], (width, height)
            assert page.ask(cut) == [], (width, height)
        page.resize(390, 844)
        for name, least_px in (("room", 50), ("short_term", 100)):
            style = f"getComputedStyle(document.querySelector('#{name} .value'))"
            assert page.ask(f"parseFloat({style}.fontSize)") > least_px, name
    finally:
        page.resize(390, 844)


def test_a_lost_source_is_said_and_its_numbers_go(page, stage):
    state = replace(stage.moment.state, status=SourceStatus.LOST, sentence="it has gone")
    stage.become(state=state)
    page.wait_for(f"{NOTICE} === 'Lost the source'")
    assert "it has gone" in page.text()
    assert page.ask(NUMBERS)[:3] == ["--", "--", "--"]


def test_no_event_for_three_seconds_leaves_no_number_on_it(page, stage):
    stage.screen._loop.call_soon_threadsafe(stage.screen._clients.clear)  # nobody is told any more
    page.ask("heardMs = 1_000_000; Date.now = () => 1_002_999; lookAtClock()")
    assert page.ask(NOTICE) == ""
    page.ask("Date.now = () => 1_003_000; lookAtClock()")
    assert page.ask(NOTICE) == "Connection lost"
    assert set(page.ask(NUMBERS)) == {"--"}
    assert "Nothing has come from Leadline for 3 s" in page.text()


def test_a_clock_that_is_set_back_makes_no_number_young(page, stage):
    stage.screen._loop.call_soon_threadsafe(stage.screen._clients.clear)
    page.ask("heardMs = 1_000_000; Date.now = () => 999_999; lookAtClock()")
    assert page.ask(NOTICE) == "Connection lost"
    assert set(page.ask(NUMBERS)) == {"--"}


def test_an_event_that_lay_in_a_buffer_is_not_taken_for_new(page, stage):
    page.ask("window.newest = null; window.was = show; show = (news) => { newest = news; was(news); }")
    page.wait_for("newest !== null")
    stage.screen._loop.call_soon_threadsafe(stage.screen._clients.clear)
    page.ask("show = () => {}; Date.now = () => 5_000_000; running.leastMs = 5_000_000 - newest.at_ms")
    tell = "heardMs = 1; was({ ...newest, at_ms: newest.at_ms - %d }); heardMs"
    assert page.ask(tell % 3000) == 1
    assert page.ask(tell % 2999) == 5_000_000


def test_it_comes_back_by_itself_when_the_connection_does(page, stage):
    page.ask("const wait = setTimeout; setTimeout = (go, ms) => wait(go, ms / 100)")
    page.ask("heardMs = 0; lookAtClock(); running.abort()")
    assert page.ask(NOTICE) == "Connection lost"
    page.wait_for(f"{NOTICE} === '' && {NUMBERS}[0] !== '--'")


def test_the_end_of_the_run_is_said(page, stage):
    stage.screen.stop()
    page.wait_for(f"{NOTICE} === 'Leadline has ended'")
    assert set(page.ask(NUMBERS)) == {"--"}
    page.ask("lookAtClock()")
    assert page.ask(NOTICE) == "Leadline has ended"


@pytest.mark.parametrize(
    ("fragment", "said"),
    [("", "The key is missing: open the whole address"), ("#wrong", "this is not the key of this run")],
)
def test_without_the_key_it_says_so_and_shows_nothing(browser, stage, fragment, said):
    browser.open("about:blank")
    browser.open(stage.screen.url.partition("#")[0] + fragment)
    browser.wait_for(f"document.readyState === 'complete' && {NOTICE} === 'Not let in'")
    assert said in browser.text()
    assert set(browser.ask(NUMBERS)) == {"--"}


def test_when_it_is_full_it_says_so(browser, stage, monkeypatch):
    monkeypatch.setattr(server, "MOST_CLIENTS", 0)
    browser.open("about:blank")
    browser.open(stage.screen.url)
    browser.wait_for(f"document.readyState === 'complete' && {NOTICE} === 'Full'")
    assert "look at this page already" in browser.text()


def test_the_day_is_chosen_by_hand_and_remembered(page):
    try:
        page.ask("document.getElementById('palette').click()")
        assert page.ask("getComputedStyle(document.body).backgroundColor") == "rgb(247, 241, 227)"
        assert page.ask("localStorage.getItem('palette')") == "day"
    finally:
        page.ask("localStorage.clear()")
