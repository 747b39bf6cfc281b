"""Command lines run in this process and in another, for the tests of the command line."""

import functools
import json
import subprocess
import sys

import jsonschema
import pytest

from ductsim import cli
from ductsim.commands.registry import command
from ductsim.terminal.envelope import schema


@pytest.fixture
def run(capsys):
    """A command line run in this process: (status, output, error output)."""

    def go(*words):
        status = cli.main(list(map(str, words)))
        return (status, *capsys.readouterr())

    return go


@pytest.fixture
def refused(run):
    """The one sentence with which a wrong command line is refused."""

    def go(*words):
        status, out, err = run(*words)
        assert status == 2
        assert out == ""
        assert "Traceback" not in err
        assert err.startswith("ductsim: ")
        assert err.count("\n") == 1
        assert err.rstrip().endswith((".", "?"))
        status, out, err = run(*words, "--json")
        assert (status, err) == (2, "")
        told = json.loads(out)
        jsonschema.validate(told, schema())
        assert told["error"]["problem"]
        return told["error"], " ".join(str(x) for x in told["error"].values())

    return go


@pytest.fixture
def kept(monkeypatch):
    """A study that works once, however often it is asked: what it found, and with what it was called."""

    def keep(name):
        study, made = command(name.replace("_", "-")).run, []
        real = study.run

        @functools.wraps(real)  # its signature makes the command's options
        def once(*args, **options):
            if not made:
                made.append(real(*args, **options))
            calls.append((args, options))
            return made[0]

        calls = []
        monkeypatch.setitem(vars(study), "run", once)
        return made, calls

    return keep


def in_a_process(*words, **options):
    return subprocess.run(
        [sys.executable, "-m", "ductsim", *map(str, words)],
        capture_output=True,
        check=False,
        timeout=120,
        **options,
    )
