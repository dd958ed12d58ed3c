from types import SimpleNamespace

import numpy as np

from meter.chain import Chain
from meter.findings.listed import listed
from meter.findings.whole import findings_of
from tests.support import planted
from tests.support.planted import RATE_HZ
from tests.support.sound import run_to_end


def a_finding(kind, text, severity=10.0):
    return SimpleNamespace(kind=kind, text=text, severity=severity)


def find(samples):
    chain = Chain(rate_hz=RATE_HZ, channels=2)
    rows = run_to_end(chain, samples.astype(np.float32))
    return findings_of(rows, rate_hz=RATE_HZ, channels=2, weights=chain.weights)


def test_what_was_said_of_the_same_kind_is_said_once_and_what_is_slight_is_counted():
    samples = planted.clean(2).copy()
    for start_s, end_s in ((5.0, 9.0), (15.0, 19.0), (25.0, 25.4)):
        samples[round(start_s * RATE_HZ) : round(end_s * RATE_HZ), 1] *= -1.0
    found = [one for one in find(samples) if one.kind == "lost in mono"]
    assert [one.is_slight for one in found[:2]] == [False, False]
    first, second, *_ = texts = listed(found)
    assert first == found[0].text
    assert first.endswith("make it narrower, or leave it if it never plays in mono")
    assert second.startswith(found[1].text.partition(": left and right")[0])
    assert second.endswith(" dB): as above")
    slight = sum(one.is_slight for one in found)
    assert (texts[-1] == "1 slight one is left out here; --json has all") is (slight == 1)
    assert len(texts) == len(found) - slight + (slight > 0)


def test_of_overs_place_and_height_stay():
    why = ", between the samples, where a limiter that reads only samples sees nothing; lower it"
    first = a_finding("over", f"the true peak went 1.0 dB over 0.0 dBTP at 0:01.0{why}")
    where = "2 overs from 0:10.0 to 0:12.0: the true peak went 1.2 dB over 0.0 dBTP at 0:11.0"
    second = a_finding("over", where + why)
    other = a_finding("dc", f"left stands off centre{why}")
    assert listed([first, second, other]) == [
        first.text,
        f"{where}: as above",
        other.text,
    ]
    assert listed([]) == []
    small = a_finding("over", first.text, severity=0.001)
    assert listed([small, small]) == ["2 slight ones are left out here; --json has all"]
