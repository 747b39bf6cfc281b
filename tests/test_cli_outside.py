"""The command line and the world: files, JSON, terminals, processes."""

import builtins
import codecs
import errno
import io
import json
import logging
import os
import resource
import subprocess
import sys

import jsonschema
import pytest
from command_line import in_a_process

import ductsim as ds
from ductsim import __main__, cli
from ductsim.commands.registry import places
from ductsim.display.tables import WIDTH
from ductsim.terminal import console
from ductsim.terminal.envelope import dumps, envelope, error, schema

# ---- pictures


def test_a_picture_is_drawn_whole(run, tmp_path):
    place = tmp_path / "units.png"
    status, out, err = run("solve", "demo:picker", "--plot", place, "--measures", "inch")
    assert (status, err) == (0, "")
    assert out == run("solve", "demo:picker", "--measures", "inch")[1]
    assert place.read_bytes().startswith(b"\x89PNG")
    assert list(tmp_path.iterdir()) == [place]


def test_another_picture(run, tmp_path):
    place = tmp_path / "air path.svg"
    assert run("solve", "demo:bench", "--plot", place, "--picture", "drawing")[0] == 0
    assert "<svg" in place.read_text(encoding="utf-8")


def test_an_unknown_picture_leaves_nothing(refused, tmp_path):
    told, _ = refused("solve", "demo:bench", "--plot", tmp_path / "a.png", "--picture", "unit")
    assert told["nearest"] == "units"
    assert list(tmp_path.iterdir()) == []


# ---- the envelope


def test_the_schema_is_itself_valid():
    jsonschema.Draft202012Validator.check_schema(schema())


@pytest.mark.parametrize(
    "spoilt",
    [
        {"weakest": None},
        {"format": 2},
        {"measures": "SI"},
        {"tables": {"a": [1]}},
        {"answer": "text"},
        {"more": 1},
    ],
)
def test_the_schema_refuses_other_envelopes(spoilt):
    good = envelope(
        "solve", [{"file": "x", "sha256": "0" * 64}], "metric", ["An answer."], tables={"a": [{"b": 1}]}
    )
    jsonschema.validate(good, schema())
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(good | spoilt, schema())


@pytest.mark.parametrize(
    ("problem", "fields"),
    [
        (ds.InputError("bad", place="p", allowed="a", nearest="n", file="f"), ["f", "p", "bad", "a", "n"]),
        (ds.NoOperatingPoint("none", node="box", remedy="open it"), ["", "box", "none", "open it", ""]),
        (ds.DuctsimError("else"), ["", "", "else", "", ""]),
        (ValueError("odd"), ["", "", "ValueError: odd", "", ""]),
    ],
)
def test_errors_in_json(problem, fields):
    told = error(problem)
    jsonschema.validate(told, schema())
    assert list(told["error"].values()) == fields
    assert json.loads(dumps(told)) == told


def test_what_else_was_read_is_in_the_envelope():
    told = envelope(
        "compare",
        [{"file": "m", "sha256": "0" * 64}, {"role": "fixes", "file": "f", "sha256": "1" * 64}],
        "metric",
        ["An answer."],
    )
    jsonschema.validate(told, schema())
    assert told["input"]["with"] == [{"role": "fixes", "file": "f", "sha256": "1" * 64}]


# ---- the terminal


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_colours_only_on_a_terminal_that_wants_them(monkeypatch):
    for name in ("NO_COLOR", "TERM"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm")
    assert console.colour(Terminal())
    assert not console.colour(io.StringIO())
    monkeypatch.setenv("TERM", "dumb")
    assert not console.colour(Terminal())
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("NO_COLOR", "1")
    assert not console.colour(Terminal())
    closed = Terminal()
    closed.close()
    assert not console.colour(closed)


def test_the_page_fits_a_narrow_terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", "72")
    assert console.width(Terminal()) == 72
    monkeypatch.setenv("COLUMNS", "300")
    assert console.width(Terminal()) == WIDTH
    monkeypatch.setenv("COLUMNS", "10")
    assert console.width(Terminal()) == console.NARROWEST
    assert console.width(io.StringIO()) == WIDTH


def test_bold_is_the_answer_only(monkeypatch):
    monkeypatch.setattr(sys, "stdout", Terminal())
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert cli.main(["solve", "demo:bench"]) == 0
    shown = sys.stdout.getvalue()
    assert shown.startswith("\033[1mUnit ")
    assert shown.count("\033[1m") == shown.count("\033[0m")


def test_a_sign_of_life_only_on_a_terminal(monkeypatch):
    monkeypatch.setattr(console, "FIRST_SIGN", 0.01)
    for stream, told in ((Terminal(), True), (io.StringIO(), False)):
        with console.sign_of_life("ductsim fit", stream):
            for _ in range(200):
                if "ductsim fit ... " in stream.getvalue() or not told:
                    break
                console.time.sleep(0.01)
        assert ("ductsim fit ... " in stream.getvalue()) == told
        assert stream.getvalue() == "" or stream.getvalue().endswith("\r")


# ---- as a process


def test_module_and_console_say_the_same():
    told = in_a_process("solve", "demo:bench", env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert told.returncode == 0
    assert told.stderr == b""
    assert told.stdout.decode("utf-8").startswith("Unit ")
    wrong = in_a_process("solve", "nowhere.toml")
    assert wrong.returncode == 2
    assert wrong.stderr.decode().startswith("ductsim: nowhere.toml: no such machine file")


def test_nobody_reading_is_no_trouble():
    read, write = os.pipe()
    os.close(read)
    with os.fdopen(write, "wb") as out:
        told = subprocess.run(
            [sys.executable, "-m", "ductsim", "check", "demo:picker"],
            stdout=out,
            stderr=subprocess.PIPE,
            check=False,
            timeout=120,
        )
    assert told.stderr == b""
    assert told.returncode == 141


def test_solve_loads_no_tables_plots_or_optimizers():
    code = (
        "import sys; from ductsim.cli import main; status = main(['solve', 'demo:picker']); "
        "heavy = {'matplotlib', 'pandas', 'pint', 'fluids', 'jinja2', 'scipy.optimize', "
        "'scipy.interpolate'}; "
        "sys.exit(status or ','.join(sorted(heavy & set(sys.modules))) or 0)"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False, timeout=120)
    assert (told.returncode, told.stderr) == (0, b"")


# ---- outputs that fail


class Failing(io.StringIO):
    """A stream of which every write fails."""

    def __init__(self, err):
        super().__init__()
        self.err = err
        self.tried = False

    def write(self, _):
        self.tried = True
        raise self.err


FULL = OSError(errno.ENOSPC, "No space left on device")
ANSWERS = [
    (),
    ("--version",),
    ("help", "solve"),
    ("demo",),
    ("solve", "demo:bench"),
    ("solve", "demo:bench", "--json"),
    *((name, "--help") for name in tuple(places())),
]


@pytest.mark.parametrize(
    ("out", "why"),
    [
        (Failing(FULL), "No space left on device"),
        (None, "the output is closed"),
        (Failing(ValueError("I/O operation on closed file")), "I/O operation on closed file"),
    ],
)
def test_an_answer_that_cannot_be_printed(capsys, monkeypatch, out, why):
    for words in ANSWERS:
        with monkeypatch.context() as there:
            there.setattr(sys, "stdout", out)
            assert cli.main(words) == 1, words
        assert capsys.readouterr().err == f"ductsim: the answer cannot be printed: {why}.\n", words


def test_a_refusal_that_cannot_be_said_still_has_its_status(capsys, monkeypatch):
    for out in (Failing(FULL), None, Failing(BrokenPipeError(errno.EPIPE, "Broken pipe"))):
        with monkeypatch.context() as there:
            there.setattr(sys, "stderr", out)
            assert cli.main(["solve", "nowhere.toml"]) == 2
    monkeypatch.setattr(sys, "stdout", Failing(FULL))
    assert cli.main(["solve", "nowhere.toml", "--json"]) == 2
    assert capsys.readouterr().err == "ductsim: nowhere.toml: no such machine file.\n"


def test_a_pipe_that_breaks_elsewhere_is_no_missing_reader(run, monkeypatch):
    def broken(*_):
        raise BrokenPipeError(errno.EPIPE, "Broken pipe")

    monkeypatch.setattr(ds.Machine, "solve", broken)
    status, _, err = run("solve", "demo:bench")
    assert status == 1
    assert "BrokenPipeError" in err


def test_a_full_disk_and_closed_streams_of_a_process(tmp_path):
    def full():
        resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))

    with open(tmp_path / "answer", "wb") as out:
        buffered = {name: word for name, word in os.environ.items() if name != "PYTHONUNBUFFERED"}
        told = subprocess.run(
            [sys.executable, "-m", "ductsim", "--version"],
            stdout=out,
            stderr=subprocess.PIPE,
            check=False,
            timeout=120,
            env=buffered,
            preexec_fn=full,
        )
    assert (told.returncode, told.stderr) == (1, b"ductsim: the answer cannot be printed: File too large.\n")
    told = in_a_process("--version", preexec_fn=lambda: os.close(1))
    assert (told.returncode, told.stderr) == (
        1,
        b"ductsim: the answer cannot be printed: the output is closed.\n",
    )


class Console(io.TextIOWrapper):
    """A console whose letters are those of Western Europe."""

    def __init__(self):
        super().__init__(io.BytesIO(), encoding="cp1252")

    def isatty(self):
        return True


def test_a_console_prints_what_it_can(monkeypatch):
    ours = Console()
    monkeypatch.setattr(sys, "stdout", ours)
    console.prepare(ours)
    console.write("vörn 中 ✓")
    assert ours.buffer.getvalue() == "vörn ? ?".encode("cp1252")
    theirs = codecs.getwriter("cp1252")(io.BytesIO())  # not ours to set
    monkeypatch.setattr(sys, "stdout", theirs)
    console.prepare(theirs)
    console.write("vörn 中")
    assert theirs.stream.getvalue() == rb"v\xf6rn \u4e2d"


def test_a_terminal_that_goes_while_it_is_told(monkeypatch):
    gone = Failing(OSError(errno.EIO, "Input/output error"))
    gone.isatty = lambda: True
    monkeypatch.setattr(console, "FIRST_SIGN", 0.001)
    with console.sign_of_life("ductsim fit", gone):  # a thread that fails would be a warning
        for _ in range(2000):
            if gone.tried:
                break
            console.time.sleep(0.001)
    assert gone.tried


def test_ctrl_c_while_the_modules_are_loaded(capsys, monkeypatch):
    def stopped(name, *args):
        raise KeyboardInterrupt

    with monkeypatch.context() as there:
        there.setattr(builtins, "__import__", stopped)
        status = __main__.main()
    assert (status, *capsys.readouterr()) == (130, "", "ductsim: stopped by Ctrl-C.\n")


def test_drawing_in_odd_surroundings(refused, tmp_path, monkeypatch, caplog):
    real = builtins.__import__

    def odd(name, *args):
        if name == "matplotlib":  # what it says itself, when it is imported
            raise ValueError(
                "Key backend: 'odd' is not a valid value for backend; supported values are ['agg']"
            )
        return real(name, *args)

    logging.getLogger("matplotlib").setLevel(logging.NOTSET)
    monkeypatch.setattr(builtins, "__import__", odd)
    monkeypatch.setenv("MPLBACKEND", "odd")
    told, _ = refused("solve", "demo:bench", "--plot", tmp_path / "a.png")
    assert told["place"] == "MPLBACKEND=odd"
    assert told["problem"] == "nothing can be drawn: Key backend: 'odd' is not a valid value for backend"
    assert told["allowed"] == "unset MPLBACKEND, or set it to agg"
    assert list(tmp_path.iterdir()) == []
    logging.getLogger("matplotlib").warning("mkdir -p failed for path /proc/no")
    assert caplog.records == []  # no word beside the answer
