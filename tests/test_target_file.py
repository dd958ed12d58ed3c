"""The user's targets: read whole, every problem named at once, with its line."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.errors import SettingsError, UsageError
from meter.target_file import find_target, load_targets, parse_targets, shipped_targets, targets_as_toml
from meter.targets import MEASURES, Limit, Target
from tests.support.examples import a_quarter

OWN = """\
schema = 1

[mine]
loudest_30s_lufs = { min = -7.5, max = -6.5 }
fold_loss_db.below_crossover = { min = -1 }   # a whole number is a number

[mine.live]
loudest_30s_lufs = { max = -6.0 }
"""

MINE = Target(
    name="mine",
    title="mine",
    source="your own",
    limits={"loudest_30s_lufs": Limit(min=-7.5, max=-6.5), "fold_loss_db.below_crossover": Limit(min=-1.0)},
    live_limits={"loudest_30s_lufs": Limit(max=-6.0)},
)

BAD = """\
schema = 2
shema = 1
["my club"]
x = 1
[ok]
title = 3
true_peak_dbtp = -1
lodest_30s_lufs = { min = -8 }
integrated_lufs = { mn = -8, max = 400 }
loudest_30s_lufs = { min = -6, max = -8 }
fold_loss_db = { max = 3 }
correlation = { min = true }
loudness_range_lu = {}
oops = = 3
peak_to_loudness_lu = { min = nan }
[ok.live]
fold_loss_db.20-61 = { min = -1 }
short_term_max_lufs = { max = 99999999999999999999999999 }
frobnicate = 1
[empty]
"""

PROBLEMS = [
    "line 1: schema = 2: this file is of a newer version, this one knows 1",
    "line 2: unknown key 'shema'; outside of a target there is only schema, "
    "and a target begins with its name: [name]",
    "line 3: 'my club' cannot be a target's name; use up to 40 letters, digits, - and _",
    "line 6: title must be text of 1 to 200 printable characters, in quotes",
    "line 7: true_peak_dbtp = -1: must be { min = ..., max = ... }, or one of the two",
    "line 8: unknown key 'lodest_30s_lufs'; did you mean 'loudest_30s_lufs'?",
    "line 9: integrated_lufs.max = 400: must lie in -70 to 10 LUFS",
    "line 9: unknown key 'mn'; did you mean 'min'?",
    "line 10: loudest_30s_lufs: min -6 is above max -8; exchange them",
    "line 11: fold_loss_db needs a band behind it, such as fold_loss_db.below_crossover; "
    "the bands are 20-60, 60-120, 120-250, below_crossover, full",
    "line 12: correlation.min = true: must be a number, -1 to 1",
    "line 13: loudness_range_lu limits nothing; give min, max or both",
    "line 14: this is no TOML: invalid value",
    "line 15: peak_to_loudness_lu.min = nan: must lie in 0 to 60 LU",
    "line 17: unknown key '20-61'; did you mean '20-60'?",
    "line 18: short_term_max_lufs.max = 99999999999999999999999999: must lie in -70 to 10 LUFS",
    "line 19: unknown key 'frobnicate'; valid here: integrated_lufs, loudest_30s_lufs, short_term_max_lufs, "
    "momentary_max_lufs, loudness_range_lu, true_peak_dbtp, sample_peak_dbfs, peak_to_loudness_lu, "
    "correlation, low_correlation, fold_loss_db",
    "line 20: [empty] has no limit; give one, such as true_peak_dbtp = { max = -1.0 }",
]


def problems_of(text):
    with pytest.raises(SettingsError) as caught:
        parse_targets(text, place="targets.toml")
    head, *problems = str(caught.value).split("\n  ")
    count = "1 problem" if len(problems) == 1 else f"{len(problems)} problems"
    assert head == f"targets.toml is not used, it has {count}:"
    return problems


# --- problems -------------------------------------------------------------------------------


def test_every_problem_is_named_at_once_with_its_line_and_the_nearest_key():
    assert problems_of(BAD) == PROBLEMS


def test_line_breaks_of_windows_change_no_line():
    assert problems_of(BAD.replace("\n", "\r\n")) == PROBLEMS


@pytest.mark.parametrize(
    ("text", "problems"),
    [
        ("schema = true\n" + OWN.split("\n", 1)[1], ["line 1: schema = true: must be 1"]),
        ("schema = 0\n" + OWN.split("\n", 1)[1], ["line 1: schema = 0: must be 1"]),
        ("[a]\ncorrelation = {min=-1.01}", ["line 2: correlation.min = -1.01: must lie in -1 to 1"]),
        ("[a]\ncorrelation = {min=-inf}", ["line 2: correlation.min = -inf: must lie in -1 to 1"]),
        ("[a]\ncorrelation = {min='x'}", ["line 2: correlation.min = 'x': must be a number, -1 to 1"]),
        (
            "[a]\ncorrelation = [0, 1]",
            ["line 2: correlation = [0, 1]: must be { min = ..., max = ... }, or one of the two"],
        ),
        (
            "[a]\ncorrelation.min = 0\nlive = 3",
            ["line 3: live must be a table of limits: [a.live]"],
        ),
        ("x = " + "[" * 5000, ["line 1: this is nested deeper than any targets file"]),
    ],
)
def test_a_slip_is_named_with_its_line(text, problems):
    assert problems_of(text) == problems


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("[a]\ntrue_peak_dbtp.max = 0\n[b", [3]),
        ("[a]\ntrue_peak_dbtp.max = 0\n\n[a]\ntrue_peak_dbtp.max = 1", [4]),
        ("[a]\ntrue_peak_dbtp.max = 0\ntrue_peak_dbtp = { max = 1 }", [3]),
        ("[a]\ntrue_peak_dbtp.max = 0\nx = ]\ny = {", [3, 4]),
        ("[a]\ncorrelation.min = " + "9" * 5000 + "\n# end", [2]),
        ("[a]\ntitle = 'open\ncorrelation.min = 2", [2, 3]),
        ("[a]\ncorrelation.min =", [2]),
        ("what", [1]),
    ],
)
def test_what_is_no_toml_is_named_with_its_line_in_the_words_of_the_parser(text, lines):
    found = problems_of(text)
    assert [int(problem.split(":")[0].removeprefix("line ")) for problem in found] == lines
    assert found[0].startswith(f"line {lines[0]}: this is no TOML: ")


@given(text=st.text("[]{}=.\"'#\\\n ab-1", max_size=40))
def test_no_text_at_all_makes_the_reader_stumble(text):
    with contextlib.suppress(SettingsError):  # anything else is a stumble
        parse_targets(text, place="it")


@given(start=st.integers(0, len(BAD) - 1), length=st.integers(1, 30))
def test_no_damage_to_a_file_makes_the_reader_stumble(start, length):
    text = BAD[:start] + BAD[start + length :]
    with pytest.raises(SettingsError, match="\n  line "):
        parse_targets(text, place="it")


# --- text and value -------------------------------------------------------------------------

words = st.text(st.characters(categories=("L", "N", "P", "S")), min_size=1, max_size=20)
names = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_-]{0,9}", fullmatch=True).filter(lambda name: name != "schema")


@st.composite
def limits(draw):
    made = {}
    for key in draw(st.lists(st.sampled_from(sorted(MEASURES)), unique=True, min_size=1, max_size=5)):
        ends = st.floats(MEASURES[key].lowest, MEASURES[key].highest)
        low, high = sorted((draw(ends), draw(ends)))
        made[key] = draw(st.sampled_from([Limit(min=low), Limit(max=high), Limit(min=low, max=high)]))
    return made


@st.composite
def targets(draw):
    return Target(
        name=draw(names),
        title=draw(words),
        source=draw(words),
        limits=draw(limits()),
        live_limits=draw(st.one_of(st.just({}), limits())),
    )


@a_quarter()
@given(made=st.lists(targets(), max_size=3, unique_by=lambda target: target.name))
def test_targets_survive_the_way_through_text(made):
    text = targets_as_toml(made)
    read = parse_targets(text, place="it")
    assert read == {target.name: target for target in made}
    assert targets_as_toml(read.values()) == text


# --- files ----------------------------------------------------------------------------------


def test_without_a_file_the_shipped_targets_are_there(tmp_path):
    loaded = load_targets(tmp_path / "targets.toml")
    assert loaded.targets == shipped_targets()
    assert loaded.problem is None


@pytest.mark.parametrize(
    "data", [OWN.encode(), b"\xef\xbb\xbf" + OWN.encode(), OWN.replace("\n", "\r\n").encode()]
)
def test_the_users_own_stand_beside_the_shipped_ones(tmp_path, data):
    file = tmp_path / "targets.toml"
    file.write_bytes(data)
    loaded = load_targets(file)
    assert loaded.targets == {**shipped_targets(), "mine": MINE}
    assert loaded.problem is None


def test_the_users_own_take_the_place_of_a_shipped_one_of_that_name(tmp_path):
    file = tmp_path / "targets.toml"
    file.write_text("[club]\ntrue_peak_dbtp = { max = -0.5 }\n")
    loaded = load_targets(file)
    assert loaded.targets["club"].limits == {"true_peak_dbtp": Limit(max=-0.5)}
    assert list(loaded.targets) == ["club", "ebu-r128"]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (BAD.encode(), "is not used, it has 18 problems:\n  line 1: "),
        (b"[a]\nx = '\xff'\n", "line 2: this is no UTF-8 text; save it as UTF-8"),
        (b"#" * 1_000_001, "is larger than a targets file can be"),
    ],
)
def test_a_broken_file_leaves_the_shipped_targets_and_is_left_alone(tmp_path, data, words):
    file = tmp_path / "targets.toml"
    file.write_bytes(data)
    loaded = load_targets(file)
    assert loaded.targets == shipped_targets()
    assert loaded.problem.startswith(f"{file} is not used, it ")
    assert words in loaded.problem
    assert file.read_bytes() == data


def test_a_folder_in_its_place_is_said_to_be_unreadable(tmp_path):
    (tmp_path / "targets.toml").mkdir()
    loaded = load_targets(tmp_path / "targets.toml")
    assert loaded.targets == shipped_targets()
    assert "targets.toml: cannot be read (" in loaded.problem


def test_a_limit_may_be_a_single_value():
    made = parse_targets("[a]\ncorrelation = { min = 1, max = 1 }", place="it")
    assert made["a"].limits == {"correlation": Limit(min=1.0, max=1.0)}


def test_a_target_is_found_by_its_name_in_either_case():
    assert find_target("Club", shipped_targets()).name == "club"


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("clib", "there is no target 'clib'; did you mean 'club'?; there are: club, ebu-r128"),
        ("zzz", "there is no target 'zzz'; there are: club, ebu-r128"),
    ],
)
def test_a_target_that_is_not_there_is_named_with_those_that_are(name, words):
    with pytest.raises(UsageError) as caught:
        find_target(name, shipped_targets())
    assert str(caught.value) == words
