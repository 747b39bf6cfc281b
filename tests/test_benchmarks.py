"""The benchmark script still runs, quickly and with small sizes; nothing here asserts a time."""

import json
import os
import subprocess
import sys
from pathlib import Path

from amounts import few_and_all

ROOT = Path(__file__).resolve().parent.parent


ALL = {"starting", "single solve", "scenarios", "spreads", "step"}
ALL |= {"a million", "planar networks", "random networks"}


@few_and_all("sections", {"step", "random networks"}, ALL)
def test_the_benchmarks_run(sections, tmp_path):
    file = tmp_path / "rows.json"
    command = [
        sys.executable,
        str(ROOT / "benchmarks" / "run.py"),
        "--quick",
        "--random",
        str(2 * len(sections)),
        "--only",
        *sorted(sections),
        "--json",
        str(file),
    ]
    done = subprocess.run(
        command, capture_output=True, text=True, env=os.environ | {"PYTHONPATH": str(ROOT)}, check=False
    )
    assert done.returncode == 0, done.stderr
    rows = json.loads(file.read_text(encoding="utf-8"))
    assert {row["section"] for row in rows} == sections
    for row in rows:
        assert row["what"]
        assert row["shown"]
        assert isinstance(row["value"], (int, float))
        assert row["what"] in done.stdout
