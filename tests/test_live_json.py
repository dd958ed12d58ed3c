import json
import math
from dataclasses import replace

import numpy as np
import pytest

from meter.capture.records import SourceInfo, SourceState, SourceStatus
from meter.chain import Chain
from meter.check_json import as_line
from meter.live_json import sounding_object
from meter.now import Now
from meter.soundings import BANDS
from meter.targets import Limit, Target, Verdict

RATE_HZ = 48_000
TARGET = Target(name="a", title="A", source="", limits={"true_peak_dbtp": Limit(max=0.0)})
KEYS = [
    "type",
    "at_s",
    "momentary_lufs",
    "short_term_lufs",
    "integrated_lufs",
    "true_peak_dbtp",
    "correlation",
    "fold_loss_db",
    "verdict",
    "lost_frames",
    "why_null",
]


def now_of(samples, **how):
    chain = Chain(rate_hz=RATE_HZ, channels=samples.shape[1])
    chain.process(samples)
    state = SourceState(status=SourceStatus.RUNNING, sentence=None, info=SourceInfo(spec="demo", name="demo"))
    return Now(
        **{"state": state, "reading": chain.reading(), "rate_hz": RATE_HZ, "channels": samples.shape[1]} | how
    )


def music(seconds, channels=2):
    return np.random.default_rng(1).standard_normal((round(seconds * RATE_HZ), channels)) * 0.1


def test_a_sounding_has_its_keys_and_the_values_of_the_reading():
    now = now_of(music(3.5))
    made = sounding_object(now)
    assert list(made) == KEYS
    assert made["type"] == "sounding"
    for key in KEYS[1:5]:
        assert made[key] == getattr(now.reading, key)
    assert made["true_peak_dbtp"] == list(now.reading.true_peak_dbtp)
    assert set(made["fold_loss_db"]) == set(BANDS)
    assert json.loads(as_line(made)) == made


def test_nothing_is_known_in_the_first_sounding_and_it_is_said_why():
    made = sounding_object(now_of(music(0.1)))
    assert made["momentary_lufs"] is made["correlation"] is made["fold_loss_db"]["full"] is None
    assert {made["why_null"][key] for key in ("momentary_lufs", "correlation", "fold_loss_db.full")} == {
        "not yet"
    }


def test_silence_is_null_and_called_silence():
    made = sounding_object(now_of(np.zeros((4 * RATE_HZ, 2))))
    assert made["true_peak_dbtp"] == [None, None]
    nulls = ("momentary_lufs", "short_term_lufs", "true_peak_dbtp", "correlation", "fold_loss_db.20-60")
    assert {made["why_null"][key] for key in nulls} == {"silence"}
    assert "Infinity" not in as_line(made)


def test_one_channel_has_no_correlation():
    made = sounding_object(now_of(music(3.5, channels=1)))
    assert len(made["true_peak_dbtp"]) == 1
    assert made["correlation"] is None
    assert made["why_null"]["correlation"] == made["why_null"]["fold_loss_db.full"] == "does not apply"


@pytest.mark.parametrize(
    ("how", "verdict", "why"),
    [
        ({}, None, "does not apply"),
        ({"target": TARGET, "verdicts": {"a": Verdict.INSIDE, "b": Verdict.OVER}}, "over", None),
        ({"target": TARGET, "verdicts": {"a": Verdict.INSIDE}}, "inside", None),
    ],
)
def test_the_verdicts_come_as_one(how, verdict, why):
    made = sounding_object(now_of(music(0.5), **how))
    assert made["verdict"] == verdict
    assert made["why_null"].get("verdict") == why


def test_a_verdict_that_is_withheld_is_said_to_be():
    now = now_of(music(0.5), target=TARGET)
    now = replace(now, state=replace(now.state, volume_db=-math.inf))
    assert sounding_object(now)["why_null"]["verdict"] == "withheld"
