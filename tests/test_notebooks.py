"""The notebooks: each runs from top to bottom, warnings being errors, and was saved with its outputs."""

import json
import re
import sys
from pathlib import Path

import nbformat
import pytest
from save_notebooks import FOLDER, code_cells, execute, read, tidied

NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
NAMES = [path.stem for path in NOTEBOOKS]
every_notebook = pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
LARGEST = 300_000  # bytes
# Any absolute path, on any system; and what only a broken saved run holds.
PATHS = re.compile(
    r"(?<![\w.:/<)\]+=])/[A-Za-z_~][\w.~-]*/[\w.~-]|\b[A-Za-z]:\\|~/|site-packages|\.venv|ipykernel_\d"
)
SLOW = ("2", "3", "4", "5", "6", "7", "8")
"""Notebooks that take long to run: the tests marked slow run them."""


def shown(cell):
    """Everything that a cell printed or showed, as one text."""
    parts = []
    for output in cell.outputs:
        parts.append(output.get("text", ""))
        data = {kind: value for kind, value in output.get("data", {}).items() if kind != "image/png"}
        parts += [value for value in data.values() if isinstance(value, str)]
    return "\n".join(parts)


def kinds(cell):
    """What comes out of a cell: the names of its streams, the types of its other outputs, what is drawn."""
    return [
        (output.output_type, output.get("name", ""), sorted(output.get("data", {})))
        for output in cell.outputs
    ]


def test_they_are_numbered():
    assert [name.split("_")[0] for name in NAMES] == [str(i + 1) for i in range(len(NAMES))]
    assert set(SLOW) < {name.split("_")[0] for name in NAMES}
    assert sorted(path.name for path in FOLDER.iterdir() if not path.name.startswith(".")) == [
        path.name for path in NOTEBOOKS
    ]


@pytest.mark.parametrize(
    "path",
    [
        pytest.param(path, id=path.stem, marks=[pytest.mark.slow] if path.name.startswith(SLOW) else [])
        for path in NOTEBOOKS
    ],
)
def test_it_runs_from_top_to_bottom_and_gives_what_was_saved(path, tmp_path):
    saved = read(path)
    asked = read(path)
    asked.cells.append(nbformat.v4.new_code_cell("import sys; print(sys.executable)"))
    *cells, last = code_cells(execute(asked, tmp_path))
    assert Path(shown(last).strip()) == Path(sys.executable)
    assert not list(tmp_path.iterdir())  # nothing is left lying about
    for cell, old in zip(cells, code_cells(saved), strict=True):
        assert "stderr" not in [name for _, name, _ in kinds(cell)], shown(cell)
        assert kinds(cell) == kinds(old), cell.source


@every_notebook
def test_it_was_saved_whole_and_small(path):
    assert path.stat().st_size < LARGEST
    notebook = read(path)
    assert notebook == tidied(read(path))
    assert notebook.metadata.kernelspec.name == "python3"
    cells = code_cells(notebook)
    found = [kind for cell in cells for kind, _, _ in kinds(cell)]
    assert "error" not in found
    assert found.count("execute_result") + found.count("stream") >= 5
    drawn = [cell for cell in cells if re.search(r"\.plot\(|ds\.draw\(|subplots\(", cell.source)]
    assert drawn
    assert all(any("image/png" in data for _, _, data in kinds(cell)) for cell in drawn)


@pytest.mark.parametrize(
    ("text", "is_one"),
    [
        ("File '/srv/data/machine.toml'", True),
        ("/opt/tool/run", True),
        (r"D:\data\machine.toml", True),
        ("~/machine.toml", True),
        ("0.7 kg/s, 120 kg/m3 and Pa s/m", False),
        ("</div>/</td>", False),
        ('files("ductsim") / "examples" / "picker.toml"', False),
    ],
)
def test_what_an_absolute_path_is(text, is_one):
    assert bool(PATHS.search(text)) == is_one


@every_notebook
def test_it_names_no_machine_and_says_that_its_data_are_invented(path):
    notebook = read(path)
    for cell in notebook.cells:
        found = PATHS.search(cell.source + (shown(cell) if cell.cell_type == "code" else ""))
        assert not found, (found, cell.source)
    assert not PATHS.search(json.dumps(notebook.metadata))
    assert "invented" in notebook.cells[0].source


@every_notebook
def test_it_tells_a_story_with_an_exercise(path):
    notebook = read(path)
    text = "\n".join(cell.source for cell in notebook.cells if cell.cell_type == "markdown")
    assert notebook.cells[0].source.startswith("# ")
    assert text.count("## Exercise") == 1
    assert "maker" in text  # whoever changes a machine is sent to its maker's limits
