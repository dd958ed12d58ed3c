"""The caution on listening level: one line by the level, and the page behind it.

Source
------
Common practice for cautions; the exposure figures are those of ITU-T H.870 and of Directive
2003/10/EC Art. 3, quoted from their published summaries and text. None of it is measured here.
"""

from __future__ import annotations

from typing import Final

from ui.page import Page

LINE: Final = "Levels in the signal, not at your ears. About listening level"
EAR_LINE: Final = "Estimates, with their interval. About listening level"
SHORT_LINE: Final = "About listening level"

TITLE: Final = "Listening level"

TEXT: Final = """
<h2>Listening level</h2>
<p><b>Leadline reads the signal. It does not know how loud it is where you sit.</b></p>

<h3>What it is for</h3>
<p>It says how loud, how deep and how wide a track is, so that you need not turn it up to find out.
Judge loudness by the lanes and mix at a level you can talk over.</p>

<h3>What it cannot know</h3>
<ul>
<li>your headphones or loudspeakers, the amplifier, and any volume knob behind this computer;</li>
<li>how far away you sit, how your headphones fit, and your ears;</li>
<li>what you heard before today's session, and what you hear elsewhere.</li>
</ul>
<p>A number in LUFS or dBTP is therefore no number of decibels at the ear: the same track can be
anything from a whisper to far too much.</p>

<h3>What the rules are about</h3>
<p>Exposure is level <i>and</i> time: 3 dB more halve the time. ITU-T H.870 counts 80 dBA for 40 hours
a week as a whole week's sound for adults, 75 dBA for children and for those who are sensitive.
At 92 dBA that week is used up in two and a half hours, at 100 dBA in under half an hour. Where you work,
play or run a venue, the law of the place holds (in the European Union Directive 2003/10/EC as it was
taken into national law); it may ask for less.</p>
<p>Bass counts too: A-weighting, in which these levels are given, nearly ignores it.</p>

<h3>Stop when</h3>
<p><b>your ears ring, feel dull or hurt, or you have to shout to be understood.</b> Stop then, whatever
any number says. If ringing or dullness stays until the next day, see a doctor or an audiologist.</p>

<h3>Who can say more</h3>
<p>To measure the level at the ear takes calibrated equipment and people trained to use it: an audiologist,
an occupational hygienist, an acoustics engineer. This program replaces none of them.</p>

<p>Leadline never plays a sound by itself.</p>
"""


def page() -> Page:
    """The page behind the line."""
    return Page(TITLE, TEXT)
