"""The benchmark script still runs, quickly and with small sizes; nothing here asserts a time."""

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def test_the_benchmarks_run(tmp_path):
    file = tmp_path / "rows.json"
    command = [
        sys.executable,
        str(ROOT / "benchmarks" / "run.py"),
        "--quick",
        "--random",
        "12",
        "--json",
        str(file),
    ]
    done = subprocess.run(
        command, capture_output=True, text=True, env=os.environ | {"PYTHONPATH": str(ROOT)}, check=False
    )
    assert done.returncode == 0, done.stderr
    rows = json.loads(file.read_text(encoding="utf-8"))
    sections = {row["section"] for row in rows}
    small = {"starting", "single solve", "scenarios", "spreads", "step"}
    assert sections == small | {"planar networks", "random networks"}
    for row in rows:
        assert row["what"]
        assert row["shown"]
        assert isinstance(row["value"], (int, float))
        assert row["what"] in done.stdout
