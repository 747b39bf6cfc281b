"""The notebooks: each runs from top to bottom, warnings being errors, and was saved with its outputs."""

import json
import os
import re
import sys
from pathlib import Path

import nbformat
import pytest
from jupyter_client.kernelspec import KernelSpecManager
from jupyter_client.manager import AsyncKernelManager
from nbclient import NotebookClient

import ductsim

FOLDER = Path(__file__).parent.parent / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
NAMES = [path.stem for path in NOTEBOOKS]
LARGEST = 300_000  # bytes
# A path of somebody's machine, on any system; and what only a broken saved run holds.
PATHS = re.compile(r"/home/|/tmp/|/work/|/root/|/Users/|[A-Z]:\\|site-packages|\.venv|ipykernel_\d")

STRICT = """
import warnings
warnings.simplefilter("error")
warnings.filterwarnings("ignore", module="ipykernel")
"""


def read(path):
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    return notebook


def code_cells(notebook):
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


def shown(cell):
    """Everything that a cell printed or showed, as one text."""
    parts = []
    for output in cell.outputs:
        parts.append(output.get("text", ""))
        parts += [value for value in output.get("data", {}).values() if isinstance(value, str)]
    return "\n".join(parts)


class OwnKernel(AsyncKernelManager):
    """The kernel of this very interpreter, whatever kernels are installed elsewhere."""

    def __init__(self, **settings):
        super().__init__(kernel_spec_manager=KernelSpecManager(kernel_dirs=[]), **settings)


@pytest.fixture
def run(monkeypatch, tmp_path):
    """Runs a notebook in an empty folder, on the package that the tests run on."""
    place = str(Path(ductsim.__file__).parent.parent)
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(filter(None, [place, os.environ.get("PYTHONPATH")])))

    def execute(notebook):
        folder = {"metadata": {"path": str(tmp_path)}}
        NotebookClient(
            notebook, kernel_name="python3", kernel_manager_class=OwnKernel, timeout=300, resources=folder
        ).execute()

    return execute


def test_there_are_five():
    assert [name.split("_")[0] for name in NAMES] == ["1", "2", "3", "4", "5"]
    assert sorted(path.name for path in FOLDER.iterdir() if not path.name.startswith(".")) == [
        path.name for path in NOTEBOOKS
    ]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_it_runs_from_top_to_bottom(path, run, tmp_path):
    notebook = read(path)
    for cell in code_cells(notebook):
        cell.outputs = []
    notebook.cells.insert(0, nbformat.v4.new_code_cell(STRICT))
    notebook.cells.append(nbformat.v4.new_code_cell("import ductsim, sys; print(sys.executable)"))
    run(notebook)
    assert Path(shown(notebook.cells[-1]).strip()) == Path(sys.executable)
    assert not any(output.get("name") == "stderr" for cell in code_cells(notebook) for output in cell.outputs)
    assert not list(tmp_path.iterdir())  # nothing is left lying about
    same_kinds(read(path), notebook)


def same_kinds(saved, fresh):
    """What was saved is what comes out now: the same outputs, and printed texts with the same words."""
    for old, new in zip(code_cells(saved), code_cells(fresh)[1:-1], strict=True):
        kinds = [[output.output_type for output in cell.outputs] for cell in (old, new)]
        assert kinds[0] == kinds[1], old.source
        printed = ["".join(o.text for o in c.outputs if o.output_type == "stream") for c in (old, new)]
        assert bool(printed[0].strip()) == bool(printed[1].strip()), old.source


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_it_was_saved_whole_and_small(path):
    assert path.stat().st_size < LARGEST
    notebook = read(path)
    assert notebook.metadata.kernelspec.name == "python3"
    cells = code_cells(notebook)
    assert [cell.execution_count for cell in cells] == list(range(1, len(cells) + 1))
    kinds = [output.output_type for cell in cells for output in cell.outputs]
    assert "error" not in kinds
    assert kinds.count("execute_result") + kinds.count("stream") >= 5
    drawn = [cell for cell in cells if re.search(r"\.plot\(|ds\.draw\(|subplots\(", cell.source)]
    assert drawn
    assert all(any("image/png" in output.get("data", {}) for output in cell.outputs) for cell in drawn)
    assert all(output.get("name") != "stderr" for cell in cells for output in cell.outputs)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_it_names_no_machine_and_says_that_its_data_are_invented(path):
    notebook = read(path)
    for cell in notebook.cells:
        found = PATHS.search(cell.source + (shown(cell) if cell.cell_type == "code" else ""))
        assert not found, (found, cell.source)
    assert not PATHS.search(json.dumps(notebook.metadata))
    assert "invented" in notebook.cells[0].source


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_it_tells_a_story_with_an_exercise(path):
    notebook = read(path)
    text = "\n".join(cell.source for cell in notebook.cells if cell.cell_type == "markdown")
    assert notebook.cells[0].source.startswith("# ")
    assert text.count("## Exercise") == 1
    assert "maker" in text  # whoever changes a machine is sent to its maker's limits
