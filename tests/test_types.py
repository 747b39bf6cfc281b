"""The documented style passes strict type checkers in a user's script, and slips in it are found."""

import runpy
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from ductsim.extend import KINDS, LAWS
from ductsim.questions.vocabulary import WORDS

SCRIPT = Path(__file__).with_name("typed_script.py")
BESIDE = Path(sys.executable).parent
WRONG = """
import ductsim as ds

ds.Hose(length=None, diameter="6 in")
ds.Hose(length="1.8 m")
ds.Hose(length="1.8 m", diametre="6 in")
ds.Fan(flow=3.0, total_pressure=[1.0], speed=1.0, curve_speed=1.0)
ds.demo("picker").solve().nothing
ds.demo(3)
ds.Nothing
"""


def test_the_script_runs(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    for known in (KINDS, LAWS, WORDS):  # its own part, law and word go with it
        for name in {"straw mat", "square", "mean hose air"} - known.keys():
            monkeypatch.setitem(known, name, None)
            del known[name]
    runpy.run_path(str(SCRIPT))
    assert "Unit 4 is weakest" in capsys.readouterr().out


def mypy(file, folder):
    """Its complaints about a file alone; the package has a check of its own."""
    command = [sys.executable, "-m", "mypy", "--strict", "--follow-imports=silent", "--config-file="]
    return [*command, "--cache-dir", str(folder / "cache"), str(file)]


def pyright(file, folder):
    """The same; it is no dependency of the tests, since it brings a run-time of its own."""
    return [PYRIGHT, "--pythonpath", sys.executable, str(file)]


PYRIGHT = shutil.which("pyright", path=str(BESIDE)) or shutil.which("pyright") or ""
CHECKERS = [mypy, pyright] if PYRIGHT else [mypy]


@pytest.mark.slow
@pytest.mark.parametrize("checker", CHECKERS)
def test_checkers_pass_the_documented_style_and_find_slips(checker, tmp_path):
    wrong = tmp_path / "wrong.py"
    wrong.write_text(WRONG, encoding="utf-8")
    good, bad = (
        subprocess.run(checker(file, tmp_path), capture_output=True, text=True, check=False, timeout=300)
        for file in (SCRIPT, wrong)
    )
    assert good.returncode == 0, good.stdout
    for line in range(4, 4 + 7):
        assert f"wrong.py:{line}:" in bad.stdout, bad.stdout
