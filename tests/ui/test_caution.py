import re

from ui import caution, help_page


def test_the_page_says_what_a_caution_has_to_say(qtbot):
    page = caution.page()
    qtbot.addWidget(page)
    text = page.text.toPlainText()
    for words in (
        "What it is for",
        "What it cannot know",
        "the law of the place holds",
        "Stop when",
        "your ears ring",
        "audiologist",
        "never plays a sound by itself",
    ):
        assert words in text


def test_no_level_or_time_is_promised_to_do_no_harm():
    for text in (caution.TEXT, caution.LINE, caution.SHORT_LINE, help_page.html()):
        assert not re.search(r"\bsafe|harmless|no risk|safely", text, re.IGNORECASE)


def test_the_figures_are_those_of_equal_energy():
    """ITU-T H.870: 80 dBA for 40 h a week, 3 dB for half the time. SEEN-P (summary), the hours CALC."""
    hours = {level: 40.0 * 10.0 ** ((80.0 - level) / 10.0) for level in (92.0, 100.0)}
    assert abs(hours[92.0] - 2.5) < 0.05 and hours[100.0] < 0.5
    assert "At 92 dBA that week is used up in two and a half hours, at 100 dBA in under half an hour" in (
        " ".join(caution.TEXT.split())
    )
