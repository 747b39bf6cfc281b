"""Run the notebooks and save what comes out: `python tests/save_notebooks.py [first letters of a name ...]`.

The tests run them in the same way and save nothing.
"""

import os
import sys
import tempfile
from pathlib import Path

import nbformat
from jupyter_client.kernelspec import KernelSpecManager
from jupyter_client.manager import AsyncKernelManager
from nbclient import NotebookClient

import ductsim

FOLDER = Path(__file__).parent.parent / "notebooks"
STRICT = """
import warnings
warnings.simplefilter("error")
warnings.filterwarnings("ignore", module="ipykernel")
warnings.filterwarnings("ignore", "'[A-Za-z]+' (argument is )?deprecated", module="matplotlib|pyparsing")
"""
ABOUT = {
    "kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"},
    "language_info": {"name": "python"},
}


class OwnKernel(AsyncKernelManager):
    """The kernel of this very interpreter, whatever kernels are installed elsewhere."""

    def __init__(self, **settings):
        super().__init__(kernel_spec_manager=KernelSpecManager(kernel_dirs=[]), **settings)


def read(path):
    """A notebook that follows its format."""
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    return notebook


def code_cells(notebook):
    """Its cells of code."""
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


def execute(notebook, folder):
    """A notebook run afresh in a folder, warnings being errors, on the package that is imported here."""
    out = nbformat.from_dict(notebook)
    for cell in code_cells(out):
        cell.outputs = []
    out.cells = [nbformat.v4.new_code_cell(STRICT), *out.cells]
    before = os.environ.get("PYTHONPATH")
    place = str(Path(ductsim.__file__).parent.parent)
    os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, [place, before]))
    try:
        NotebookClient(
            out,
            kernel_name="python3",
            kernel_manager_class=OwnKernel,
            timeout=300,
            resources={"metadata": {"path": str(folder)}},
        ).execute()
    finally:
        if before is None:
            del os.environ["PYTHONPATH"]
        else:
            os.environ["PYTHONPATH"] = before
    out.cells = out.cells[1:]
    return tidied(out)


def tidied(notebook):
    """Without times and names of this run: counts from 1, pieces of one stream joined, little metadata."""
    for count, cell in enumerate(code_cells(notebook), 1):
        cell.execution_count = count
        joined = []
        for output in cell.outputs:
            if "execution_count" in output:
                output.execution_count = count
            same = joined and output.output_type == joined[-1].output_type == "stream"
            if same and output.name == joined[-1].name:
                joined[-1].text += output.text
            else:
                joined.append(output)
        cell.outputs = joined
    for cell in notebook.cells:
        cell.metadata = {}
    widgets = notebook.metadata.get("widgets")
    notebook.metadata = nbformat.from_dict(ABOUT | ({"widgets": widgets} if widgets else {}))
    return notebook


def main(names):
    for path in sorted(FOLDER.glob("*.ipynb")):
        if not names or path.name.startswith(tuple(names)):
            with tempfile.TemporaryDirectory() as folder:
                notebook = execute(read(path), folder)
            nbformat.write(notebook, path)
            print(f"{path.name}: {path.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main(sys.argv[1:])
