"""The report on paper: on how many sheets of A4 it prints."""

import re
import shutil
import subprocess

import pytest

import ductsim as ds
from ductsim.files.start import start_files
from ductsim.machine.demos import demo_file


def sheets(page, folder):
    """On how many sheets of A4 a page prints, by Chromium without a window."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    assert program, "install chromium for the tests marked browser"
    out = folder / "printed.pdf"
    words = ["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
    subprocess.run(
        [program, *words, f"--user-data-dir={folder / 'own'}", f"--print-to-pdf={out}", page.as_uri()],
        capture_output=True,
        timeout=120,
        check=True,
    )
    return len(re.findall(rb"/Type\s*/Page\b", out.read_bytes()))


def starting_folder(folder, kind):
    """What `start` writes, with fixes and readings written in: a leak six times its size."""
    machine = ds.Machine.of(start_files(kind, 4, 1, "inch")["machine.toml"])
    leaks = [part.name for part in machine.layout.parts if part.kind.is_leak]
    fixes = [ds.Fix(f"seal {n}", change={f"{n}.area": "x0.1"}, minutes=20.0, cost=3.0) for n in leaks]
    state = machine.change({f"{leaks[-1]}.area": "x6"}).solve()
    names = machine.layout.tapping
    taken = [
        ds.Reading(n, float(state.ask(f"tapping {n}")), set="a", engine_speed=ds.si("2100 rpm", "rad/s"))
        for n in names
    ]
    return machine, {"fixes": fixes, "readings": taken}


@pytest.mark.browser
@pytest.mark.parametrize("name", ["picker", "suction", "bench", "jets", "suction start"])
def test_it_prints_on_four_sheets(tmp_path, name):
    if name in ("jets", "suction start"):
        machine, given = starting_folder(tmp_path, name.split()[0])
    else:
        machine, given = ds.demo(name), {}
    if name == "picker":
        endings = {"fixes": "toml", "readings": "csv", "seen": "csv", "field": "csv"}
        given = {role: demo_file("picker").with_name(f"picker_{role}.{e}") for role, e in endings.items()}
    ds.report(machine, tmp_path / "report.html", **given)
    assert 2 <= sheets(tmp_path / "report.html", tmp_path) <= 4
