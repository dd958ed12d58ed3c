"""Lines of keys: held to the standard library's parser for which keys there are."""

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from meter.toml_lines import key_lines

TEXT = '''# a comment = 1
schema = 1
"two words".'#' = "x = # ] y"   # behind

[club]
limits = { min = -8.0, "max" = [1, 2] }
words = """
[none] = 3
also = 2 \\""" "" """"
raw = \'\'\'
it = 1\'\'\'\'
list = [ 1, # here ]
  { q = 1, r.s = 'u' },

]
[[t]]
x=1
[[t]]
y=1979-05-27 07:32:00
[t.z]
w = ""
'''

LINES = {
    ("schema",): 2,
    ("two words",): 3,
    ("two words", "#"): 3,
    ("club",): 5,
    ("club", "limits"): 6,
    ("club", "limits", "min"): 6,
    ("club", "limits", "max"): 6,
    ("club", "limits", "max", "0"): 6,
    ("club", "limits", "max", "1"): 6,
    ("club", "words"): 7,
    ("club", "raw"): 10,
    ("club", "list"): 12,
    ("club", "list", "0"): 12,
    ("club", "list", "1"): 13,
    ("club", "list", "1", "q"): 13,
    ("club", "list", "1", "r"): 13,
    ("club", "list", "1", "r", "s"): 13,
    ("t",): 16,
    ("t", "0"): 16,
    ("t", "0", "x"): 17,
    ("t", "1"): 18,
    ("t", "1", "y"): 19,
    ("t", "1", "z"): 20,
    ("t", "1", "z", "w"): 21,
}


def paths_in(value, path=()):
    """Every path of a parsed document."""
    items = []
    if isinstance(value, dict):
        items = value.items()
    elif isinstance(value, list):
        items = [(str(number), element) for number, element in enumerate(value)]
    for key, below in items:
        yield (*path, key)
        yield from paths_in(below, (*path, key))


def test_every_key_has_the_line_on_which_it_begins():
    assert set(paths_in(tomllib.loads(TEXT))) == set(LINES)
    assert key_lines(TEXT) == LINES


def test_line_breaks_of_windows_change_no_line():
    assert key_lines(TEXT.replace("\n", "\r\n")) == LINES


def test_an_empty_text_has_no_keys():
    assert key_lines("") == key_lines("# only words") == {}


keys = st.text("abAB01-_.\"'#[]={}\\ é", min_size=0, max_size=5)
texts = st.text("ab\"'#[]={}\\,\n ", max_size=8)
scalars = st.one_of(st.integers(-9, 9), st.booleans(), st.sampled_from([0.5, -1e9, 1e-7]), texts)
values = st.recursive(
    scalars,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(keys, inner, max_size=3)),
    max_leaves=6,
)


def quoted(text, way):
    if way and "'" not in text and "\n" not in text:
        return f"'{text}'"
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    if way and text and "\n" in text:
        return f'"""\n{escaped}"""'
    return '"' + escaped.replace("\n", "\\n") + '"'


def written(value, way):
    """A value as TOML; there is more than one way."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return quoted(value, way)
    if isinstance(value, list):
        gap = " # ]\n  " if way else ""
        return "[" + gap + ",".join(written(element, way) + gap for element in value) + "]"
    if isinstance(value, dict):
        pairs = (f"{quoted(key, way)} = {written(below, way)}" for key, below in value.items())
        return "{ " + ", ".join(pairs) + " }"
    return repr(value)


@given(document=st.dictionaries(keys, values, max_size=4), way=st.booleans(), blank=st.integers(0, 3))
def test_it_knows_the_keys_that_the_parser_knows(document, way, blank):
    parts, line, lines = [], 1, {}
    for key, value in document.items():
        parts.append("\n" * blank + f"  {quoted(key, way)}= {written(value, way)}  # =\n")
        lines[(key,)] = line + blank
        line += parts[-1].count("\n")
    text = "".join(parts)
    assert tomllib.loads(text) == document
    found = key_lines(text)
    assert set(found) == set(paths_in(document))
    assert {path: at for path, at in found.items() if len(path) == 1} == lines
