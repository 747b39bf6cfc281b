"""What is written to disk: whole or not at all, and never over what was not meant."""

import ast
import errno
import os
import re
import resource
import signal
import stat
import threading
from functools import partial
from pathlib import Path

import pytest

import ductsim as ds
from ductsim import writing
from ductsim.display import canvas as plots

BENCH = ds.demo("bench")
FIELD_CARD = ds.field_card(BENCH)


WRITERS = {
    "machine": lambda place: BENCH.write(place),
    "text": lambda place: writing.write_text(place, "new"),
    "picture": lambda place: plots.save(BENCH, place),
    "report": lambda place: ds.report(BENCH, place),
    "field page": lambda place: FIELD_CARD.write(place),
}


def listing(folder):
    """Everything in a folder: kind and permissions, and what a file holds."""
    return {
        p.relative_to(folder): (
            stat.filemode(os.lstat(p).st_mode),
            p.read_bytes() if p.is_file() else os.readlink(p) if p.is_symlink() else None,
        )
        for p in folder.rglob("*")
    }


@pytest.fixture
def places(tmp_path):
    """A folder of places where no file is written, by what they are."""
    (tmp_path / "mine").write_text("mine")
    (tmp_path / "link.svg").symlink_to("mine")
    (tmp_path / "dangling.svg").symlink_to("nowhere")
    (tmp_path / "protected.svg").write_text("mine")
    (tmp_path / "protected.svg").chmod(0o444)
    (tmp_path / "folder.svg").mkdir()
    os.mkfifo(tmp_path / "pipe.svg")
    return tmp_path


REFUSED = {
    "link.svg": "link.svg: is a link to 'mine', so it is not replaced; name what it points to",
    "dangling.svg": "dangling.svg: is a link to 'nowhere', so it is not replaced",
    "protected.svg": "protected.svg: is write-protected, so it is not replaced; name another file",
    "folder.svg": "folder.svg: is a folder; the name of a file in it",
    "pipe.svg": "pipe.svg: is no plain file, so it is not replaced; name another file",
    "no/a.svg": "no: there is no such folder",
    "mine/a.svg": "mine: there is no such folder",
    "a" * 300 + ".svg": "a.svg: cannot be written: File name too long",
    "nul\0.svg": "cannot be written: .*null",
}


@pytest.mark.parametrize("writer", WRITERS)
def test_what_is_not_written_over(places, writer, monkeypatch):
    monkeypatch.setattr("ductsim.reports.report.page", None)  # refused before any work is done
    monkeypatch.setattr(plots, "figure_of", None)
    before = listing(places)
    for name, why in REFUSED.items():
        with pytest.raises(ds.InputError, match=why):
            WRITERS[writer](places / name)
    assert listing(places) == before


def test_the_folder_may_be_reached_through_a_link(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    writing.write_text(tmp_path / "link" / "a.txt", "new")
    assert (tmp_path / "real" / "a.txt").read_text() == "new"


def test_permissions_stay_and_a_new_file_has_the_usual_ones(tmp_path):
    mask = os.umask(0o027)
    try:
        writing.write_text(tmp_path / "new", "new")
        (tmp_path / "old").write_text("old")
        (tmp_path / "old").chmod(0o600)
        writing.write_text(tmp_path / "old", "new")
    finally:
        os.umask(mask)
    modes = {name: stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("new", "old")}
    assert modes == {"new": 0o640, "old": 0o600}


def test_a_text_that_is_no_text(tmp_path):
    with pytest.raises(ds.InputError, match=r"cannot be written: '\\udc80' is no letter"):
        writing.write_text(tmp_path / "a", "a\udc80")
    assert listing(tmp_path) == {}


@pytest.mark.parametrize("call", ["fsync", "replace"])
@pytest.mark.parametrize(
    ("trouble", "raised"),
    [
        (OSError(errno.ENOSPC, "No space left on device"), ds.InputError),
        (KeyboardInterrupt(), KeyboardInterrupt),
        (MemoryError(), MemoryError),
    ],
)
@pytest.mark.parametrize("was", ["old", None])
def test_nothing_is_left_half_written(tmp_path, monkeypatch, call, trouble, raised, was):
    place = tmp_path / "a.toml"
    if was:
        place.write_text(was)
    before = listing(tmp_path)

    def fails(*_):
        raise trouble

    monkeypatch.setattr(os, call, fails)
    with pytest.raises(raised):
        writing.write_text(place, "new")
    assert listing(tmp_path) == before


def test_a_disk_that_is_full_in_the_middle(tmp_path):
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    place = tmp_path / "a"
    place.write_text("old")
    before = listing(tmp_path)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, limits[1]))
    try:
        with pytest.raises(ds.InputError, match="a: cannot be written: File too large"):
            writing.write_whole(place, b"x" * 5000)
        with pytest.raises(ds.InputError, match="folder: cannot be written: File too large"):
            writing.write_folder(tmp_path / "up" / "folder", {"a": b"x", "b": b"x" * 5000})
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert listing(tmp_path) == before


def test_two_at_once_leave_one_whole_file(tmp_path, monkeypatch):
    both = threading.Barrier(2, timeout=20)
    real = os.fsync
    monkeypatch.setattr(os, "fsync", lambda handle: (both.wait(), real(handle)))
    texts = [letter * 100_000 for letter in "ab"]
    threads = [threading.Thread(target=writing.write_text, args=(tmp_path / "a", text)) for text in texts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [p.name for p in tmp_path.iterdir()] == ["a"]
    assert (tmp_path / "a").read_text() in texts


# ---- folders


FILES = {"a": b"1", "b": b"2"}


def test_a_folder_with_folders_above_it(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    writing.write_folder("new/er/est", FILES)
    assert (tmp_path / "new/er/est/b").read_bytes() == b"2"
    (tmp_path / "empty").mkdir()
    (tmp_path / "empty").chmod(0o750)
    monkeypatch.chdir(tmp_path / "empty")
    writing.write_folder(".", FILES)
    assert sorted(os.listdir()) == ["a", "b"]  # seen from a shell that stands in it
    assert stat.S_IMODE(os.stat(".").st_mode) == 0o750
    assert sorted(os.listdir(tmp_path)) == ["empty", "new"]


@pytest.mark.parametrize("name", ["new/er", "empty"])
@pytest.mark.parametrize("call", ["fsync", "rename"])
def test_a_folder_is_all_or_none(tmp_path, monkeypatch, name, call):
    (tmp_path / "empty").mkdir()
    before = listing(tmp_path)
    calls, real = [], getattr(os, call)

    def stops_in_the_end(*args):
        calls.append(args)
        if len(calls) == (1 if (call, name) == ("rename", "new/er") else 2):
            raise KeyboardInterrupt
        return real(*args)

    monkeypatch.setattr(os, call, stops_in_the_end)
    with pytest.raises(KeyboardInterrupt):
        writing.write_folder(tmp_path / name, FILES)
    assert listing(tmp_path) == before


def test_folders_that_are_not_written(tmp_path):
    (tmp_path / "empty").mkdir()
    (tmp_path / "link").symlink_to("empty")
    (tmp_path / "dangling").symlink_to("nowhere")
    (tmp_path / "protected").mkdir()
    (tmp_path / "protected").chmod(0o555)
    (tmp_path / "file").write_text("")
    before = listing(tmp_path)
    for name, why in {
        "link": "link: is a link to 'empty'",
        "dangling": "dangling: is a link to 'nowhere'",
        "protected": "protected: is write-protected",
        "file": "file: is there already",
        "file/new": "new: cannot be written: Not a directory",
        "a" * 300: "a: cannot be written: File name too long",
        ".": "is there already",
    }.items():
        with pytest.raises(ds.InputError, match=why):
            writing.write_folder(tmp_path / name, FILES)
    assert listing(tmp_path) == before


# ---- everything goes through it


WAYS = {"write_bytes", "to_csv", "to_json", "to_html", "tofile", "mkstemp", "mkdtemp", "copyfile", "copy2"}
HINT = re.compile(rf"open\(|write_text|os\.re|{'|'.join(sorted(WAYS))}")  # spares reading every file as code
ALONE = {"writing.py"}


def writes(call):
    """Whether a call writes a file itself."""
    name = getattr(call.func, "attr", getattr(call.func, "id", ""))
    if name in ("open", "fdopen"):
        modes = [
            a.value for a in [*call.args, *(k.value for k in call.keywords)] if isinstance(a, ast.Constant)
        ]
        return any(isinstance(m, str) and set(m) <= set("rwxabt+") and set(m) & set("wxa+") for m in modes)
    owner = getattr(getattr(call.func, "value", None), "id", "")
    return name in WAYS or (owner == "os" and name in ("replace", "rename")) or (
        name == "write_text" and isinstance(call.func, ast.Attribute) and owner != "writing"
    )  # fmt: skip


def test_there_is_one_way_to_write():
    assert writes(ast.parse("open(place, 'w')").body[0].value)
    assert writes(ast.parse("Path(place).write_text(text)").body[0].value)
    home = Path(ds.__file__).parent
    found = [
        f"{file.relative_to(home)}:{node.lineno}"
        for file in home.rglob("*.py")
        if file.name not in ALONE and HINT.search(text := file.read_text(encoding="utf-8"))
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Call) and writes(node)
    ]
    assert found == []


# ---- from the command line


def test_commands_replace_no_link_and_no_protected_file(refused, places):
    (places / "link.html").symlink_to("mine")
    (places / "protected.html").write_text("mine")
    (places / "protected.html").chmod(0o444)
    (places / "demo").symlink_to("folder.svg")
    before = listing(places)
    for words, why in (
        (("report", "demo:bench", places / "link.html"), "is a link to 'mine', so it is not replaced"),
        (("report", "demo:bench", places / "protected.html"), "is write-protected, so it is not replaced"),
        (
            ("solve", "demo:bench", "--plot", places / "link.svg"),
            "is a link to 'mine', so it is not replaced",
        ),
        (("solve", "demo:bench", "--plot", places / "protected.svg"), "is write-protected"),
        (("demo", "bench", places / "demo"), "is a link to 'folder.svg'"),
        (("demo", "bench", places / ("a" * 300)), "File name too long"),
        (("report", "demo:bench", places / ("a" * 300 + ".html")), "File name too long"),
        (("solve", places / ("a" * 300 + ".toml")), "cannot be read: File name too long"),
    ):
        told, _ = refused(*words)
        assert why in told["problem"]
    assert listing(places) == before


def test_a_machine_with_the_longest_name_looks_for_its_companions(run, tmp_path):
    place = tmp_path / ("a" * 250 + ".toml")
    BENCH.write(place)
    status, _, err = run("compare", place)
    assert (status, err.count("\n")) == (2, 1)
    assert "there is no file of fixes" in err


@pytest.mark.parametrize("option", [None, "--fixes", "--readings"])
def test_what_is_read_is_not_written_over(refused, tmp_path, option):
    machine, place = tmp_path / "machine.toml", tmp_path / "both.html"
    BENCH.write(machine)
    BENCH.write(place)
    before = listing(tmp_path)
    words = ("report", place, place) if option is None else ("report", machine, place, option, place)
    assert refused(*words)[0]["problem"] == "is read here, so it is not written over"
    if option:
        with pytest.raises(ds.InputError, match="is read here, so it is not written over"):
            ds.report(BENCH, place, **{option[2:]: place})
    assert listing(tmp_path) == before


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_command_that_is_stopped_while_it_writes(run, tmp_path, monkeypatch, request, number):
    # tests in the background may ignore these
    for known, usual in ((signal.SIGINT, signal.default_int_handler), (signal.SIGHUP, signal.SIG_DFL)):
        request.addfinalizer(partial(signal.signal, known, signal.signal(known, usual)))
    heard = {n: signal.getsignal(n) for n in (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)}
    monkeypatch.setattr(os, "fsync", lambda _: signal.raise_signal(number))
    status, out, err = run("demo", "bench", tmp_path / "a" / "b")
    who = "Ctrl-C" if number == signal.SIGINT else f"the system ({number.name})"
    assert (status, out, err) == (128 + number, "", f"ductsim: stopped by {who}.\n")
    assert listing(tmp_path) == {}
    assert {n: signal.getsignal(n) for n in heard} == heard
