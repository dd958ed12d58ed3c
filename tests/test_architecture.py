"""What holds for the whole of the project: who may import whom, sizes, and words.

The import contracts of pyproject.toml say the same of imports; import-linter finds one hidden
in a function, the tests here find one that only happens at run time.
"""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
MODULES = sorted(path for name in ("meter", "ui", "demo_signals") for path in (ROOT / name).rglob("*.py"))
PROSE = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md"), *(ROOT / "docs").rglob("*.html")])
DATA = sorted(path for name in ("meter", "ui", "demo_signals") for path in (ROOT / name).rglob("*.toml"))
TESTS = sorted((ROOT / "tests").rglob("*.py"))


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def test_there_is_something_to_look_at():
    assert len(MODULES) > 10
    assert PROSE
    assert TESTS


# --- shape ----------------------------------------------------------------------------------


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_module_is_short_and_says_what_it_is(path):
    text = path.read_text("utf-8")
    assert ast.get_docstring(ast.parse(text)), f"{name_of(path)}: start with a docstring that says what it is"
    assert text.count("\n") <= 500, f"{name_of(path)}: split it by subject"


# --- imports --------------------------------------------------------------------------------


def imports_in(path: Path) -> set[str]:
    """The packages that a module imports, anywhere in it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module.partition(".")[0])
    return found


@pytest.mark.parametrize("path", [path for path in MODULES if path.parts[-2] != "ui"], ids=name_of)
def test_what_measures_knows_no_window(path):
    above = imports_in(path) & {"ui", "PyQt6", "pyqtgraph"}
    assert not above, f"{name_of(path)} imports {', '.join(above)}: only ui may"


def import_without(package: str, *refused: str) -> list[str]:
    program = ROOT / "tests/support/import_without.py"
    done = subprocess.run(
        [sys.executable, program, package, ",".join(refused)],
        cwd=ROOT,
        env={"PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def modules_of(package: str) -> set[str]:
    files = (path.relative_to(ROOT).with_suffix("") for path in (ROOT / package).rglob("*.py"))
    names = {".".join(path.parts).removesuffix(".__init__") for path in files}
    return {name for name in names if not name.endswith(".__main__")}


def test_meter_imports_without_qt_and_without_portaudio():
    done = import_without("meter", "PyQt6", "pyqtgraph", "sounddevice", "ui")
    assert set(done) == modules_of("meter")


def test_the_measures_import_with_nothing_but_numpy_and_scipy():
    others = ("soundfile", "av", "sounddevice", "pulsectl", "threadpoolctl", "platformdirs", "pyloudnorm")
    done = import_without("meter.dsp", "PyQt6", "pyqtgraph", *others)
    assert set(done) == modules_of("meter/dsp")


# --- prose ----------------------------------------------------------------------------------


def files_named_in(text: str) -> set[str]:
    """What a page links to, and what it calls a file or folder of ours."""
    links = set(re.findall(r"\]\((?!\w+:|#)([^)#]+)", text))
    ours = r"(?:meter|ui|demo_signals|tests|docs)/[\w./-]+|[\w-]+\.(?:md|toml)"
    return links | set(re.findall(rf"`(?:\./)?({ours})(?: [^`]*)?`", text))


@pytest.mark.parametrize("path", PROSE, ids=name_of)
def test_a_page_names_only_files_that_exist(path):
    named = files_named_in(path.read_text("utf-8"))
    gone = [name for name in named if not (path.parent / name).exists() and not (ROOT / name).exists()]
    assert not gone, f"{name_of(path)} names {', '.join(sorted(gone))}: not there"


def test_a_page_that_names_a_missing_file_is_found():
    page = "see [the picture](docs/a.png), `meter/no.py`, `./tests/run -k x`, `meter` and [a page](https://x.y/z)"
    assert files_named_in(page) == {"docs/a.png", "meter/no.py", "tests/run"}


def test_the_first_page_names_the_two_commands_that_begin_everything():
    readme = (ROOT / "README.md").read_text("utf-8")
    assert "\n    ./leadline demo\n" in readme
    assert "\n    ./tests/run\n" in readme


# --- our own words --------------------------------------------------------------------------


@dataclass(frozen=True)
class Rule:
    """Text that must not stand in some files, and what to write instead."""

    pattern: str
    instead: str
    bad: str  # what it must find
    good: str  # what it must let be
    where: tuple[Path, ...]
    but: tuple[str, ...] = ()


CODE = tuple(MODULES)
EVERYTHING = (*MODULES, *PROSE, *DATA, *TESTS)

RULES = [
    Rule(
        pattern=r"(?i)\bsafe (level|volume|time|listening|exposure|dose|to listen)|\b(is|are|stays?) safe\b"
        r"|\bsafely listen",
        instead="no level is without risk for everyone: give the estimate, its interval and the caution",
        bad="80 dBA is " + "safe for eight hours",
        good="a thread-safe queue",
        where=(*MODULES, *PROSE, *DATA),
    ),
    Rule(
        pattern=r"\b20(\.0*)?\s*\*\s*(np|numpy|math)\.log10",
        instead="use meter.units.amplitude_to_db, or powers_to_db of the square for an array",
        bad="20.0 * np.log10(peak)",
        good="amplitude_to_db(peak)",
        where=CODE,
        but=("meter/units.py",),
    ),
    Rule(
        pattern=r"\b10(\.0*)?\s*\*\s*(np|numpy|math)\.log10",
        instead="use meter.units.power_to_db, or powers_to_db for an array",
        bad="10 * math.log10(power)",
        good="powers_to_db(power)",
        where=CODE,
        but=("meter/units.py",),
    ),
    Rule(
        pattern=r"\bblock_?size\b(?!=)",
        instead="say block_frames or block_s: the word means seconds in one library, frames in another",
        bad="def process(block_size: int)",
        good="InputStream(blocksize=0)",
        where=CODE,
    ),
    Rule(
        pattern=r"\b(TODO|FIXME|XXX)\b",
        instead="do it now, or write an issue",
        bad="# TO" + "DO: later",
        good="# later rows are whole",
        where=EVERYTHING,
        but=("tests/test_architecture.py",),
    ),
    Rule(
        pattern=r"(?<![\w.])/(root|home/\w+|opt/\w+|work/(main|shared))/",
        instead="no path of one machine: use a path relative to the project, or a temporary folder",
        bad="open('/home" + "/someone/take.wav')",
        good="tests/home/someone/take.wav",
        where=EVERYTHING,
        but=("tests/test_architecture.py",),
    ),
]


def offences(rule: Rule, text: str, name: str) -> list[str]:
    return [
        f"{name}:{number}: {line.strip()!r}: {rule.instead}"
        for number, line in enumerate(text.splitlines(), 1)
        if re.search(rule.pattern, line)
    ]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.instead)
def test_the_project_keeps_its_own_rules(rule):
    files = [path for path in rule.where if name_of(path) not in rule.but]
    assert files
    found = [line for path in files for line in offences(rule, path.read_text("utf-8"), name_of(path))]
    assert not found, "\n".join(found)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.instead)
def test_a_rule_finds_what_it_is_for(rule):
    assert offences(rule, rule.bad, "bad")
    assert not offences(rule, rule.good, "good")
