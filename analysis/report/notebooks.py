"""The notebooks: run again in place, kept clean, and copied beside a clinic's own log."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import nbformat
from nbformat import NotebookNode

from analysis.problems import DataProblem

DEMO_LINE, OWN_LINE = 'CLINIC = "../demo_clinic"', 'CLINIC = ".."'
KERNEL = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}
LONGEST_SECONDS = 300


def notebooks_folder() -> Path:
    """Find the suite's notebooks: beside the package in a clone, inside it once installed.

    Raises
    ------
    DataProblem
        If they are in neither place.
    """
    package = Path(__file__).parents[1]
    for folder in (package.parent / "notebooks", package / "notebooks"):
        if any(folder.glob("*.ipynb")):
            return folder
    raise DataProblem("The notebooks are missing from this installation.", "Install earclinic again.")


def copy_notebooks(target_folder: Path) -> Path:
    """Copy the notebooks into a clinic folder, pointed at its log and without outputs.

    Parameters
    ----------
    target_folder : Path
        The clinic folder; they go into its ``notebooks/``.

    Returns
    -------
    Path
        The folder copied into.

    Notes
    -----
    A notebook that is there already is left as it is, since it may hold the
    owner's own changes; delete or rename it to get a fresh one.
    """
    into = target_folder / "notebooks"
    into.mkdir(parents=True, exist_ok=True)
    for path in sorted(notebooks_folder().glob("*.ipynb")):
        if not (into / path.name).exists():
            _write(for_own_clinic(nbformat.read(path, as_version=4)), into / path.name)
    return into


def for_own_clinic(notebook: NotebookNode) -> NotebookNode:
    """Point a notebook at the folder above it and take the demo's outputs away.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Changed in place, and returned.
    """
    for cell in notebook.cells:
        if cell.cell_type == "code":
            cell.source = cell.source.replace(DEMO_LINE, OWN_LINE)
            cell.outputs = []
            cell.execution_count = None
    return cleaned(notebook)


def cleaned(notebook: NotebookNode) -> NotebookNode:
    """Strip what differs from run to run: times, names of machines, counters that did not start at one.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Changed in place, and returned. Tags, folded inputs and outputs stay.

    Notes
    -----
    A cell that was run keeps a counter, its number among the cells that were:
    strict comparison takes a cell with outputs but no counter for a mistake.

    Examples
    --------
    >>> from nbformat import v4
    >>> cell = v4.new_code_cell("1", execution_count=7, metadata={"execution": {"when": "today"}, "tags": ["a"]})
    >>> cell = cleaned(v4.new_notebook(cells=[cell])).cells[0]
    >>> cell.execution_count, dict(cell.metadata)
    (1, {'tags': ['a']})
    """
    notebook.metadata = NotebookNode(KERNEL)
    number = 0
    for cell in notebook.cells:
        cell.metadata = NotebookNode({key: cell.metadata[key] for key in ("jupyter", "tags") if key in cell.metadata})
        if cell.cell_type == "code" and cell.execution_count is not None:
            number += 1
            cell.execution_count = number
            for output in cell.outputs:
                if output.output_type == "execute_result":
                    output.execution_count = number
    return notebook


def refresh(folder: Path) -> None:
    """Run every notebook of a folder again, in place.

    Parameters
    ----------
    folder : Path
        Holds the notebooks; each is run with this folder as its own.

    Raises
    ------
    nbclient.exceptions.CellExecutionError
        If a cell fails; the notebooks before it are written, it is not.
    """
    from nbclient import NotebookClient

    for path in sorted(folder.glob("*.ipynb")):
        sys.stdout.write(f"{path.name}\n")
        sys.stdout.flush()
        notebook = nbformat.read(path, as_version=4)
        where = {"metadata": {"path": str(folder)}}
        NotebookClient(notebook, timeout=LONGEST_SECONDS, kernel_name="python3", resources=where).execute()
        _write(cleaned(notebook), path)


def _write(notebook: NotebookNode, path: Path) -> None:
    """Write a notebook, the same on every system."""
    path.write_text(nbformat.writes(notebook) + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description="Run the notebooks of a folder again, in place.")
    asked.add_argument("folder", type=Path)
    refresh(asked.parse_args().folder)
