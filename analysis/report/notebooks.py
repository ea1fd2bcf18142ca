"""The notebooks: run again in place, kept clean, and copied beside a clinic's own log."""

from __future__ import annotations

import argparse
import asyncio
import os
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import nbformat
from nbformat import NotebookNode

from analysis.problems import DataProblem

DEMO_LINE, OWN_LINE = 'CLINIC = "../demo_clinic"', 'CLINIC = ".."'
KERNEL = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}
ENCRYPTED = "auto"
KEPT_TO_ITSELF = (
    f"--KernelManager.transport_encryption={ENCRYPTED}",
    "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    "--LabApp.news_url=None",
    "--LabApp.extension_manager=readonly",
)
"""JupyterLab would otherwise look for updates and news on the network."""
LONGEST_SECONDS, MOST_AT_ONCE = 300, 4


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


def lab_command(clinic_folder: Path, notebooks: Path) -> list[str]:
    """Give the command that opens the notebooks: on this computer alone, with a token, asking nothing of the network.

    Parameters
    ----------
    clinic_folder : Path
        What can be seen in JupyterLab.
    notebooks : Path
        The folder of notebooks in it.

    Examples
    --------
    >>> [each for each in lab_command(Path("clinic"), Path("clinic/notebooks")) if ".ip=" in each]
    ['--ServerApp.ip=127.0.0.1']
    """
    lab = [sys.executable, "-m", "jupyterlab", "--ServerApp.ip=127.0.0.1"]
    where = f"--ServerApp.root_dir={clinic_folder.resolve()}"
    return [*lab, where, f"--LabApp.default_url=/doc/tree/{notebooks.name}/0_start_here.ipynb", *KEPT_TO_ITSELF]


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


def refresh(folder: Path, at_once: int | None = None) -> None:
    """Run every notebook of a folder again, in place, some side by side.

    Parameters
    ----------
    folder : Path
        Holds the notebooks; each is run with this folder as its own.
    at_once : int, optional
        How many run at the same time; by default one a processor core, and no
        more than four, for each holds the whole log in memory.

    Raises
    ------
    DataProblem
        If a cell fails, naming the notebooks; those are left as they were, the others are written.
    """
    running = _run_all(sorted(folder.glob("*.ipynb")), at_once or min(os.cpu_count() or 1, MOST_AT_ONCE))
    with ThreadPoolExecutor(1) as apart:  # whoever calls this may run an event loop of his own
        apart.submit(asyncio.run, running).result()


async def _run_all(paths: Sequence[Path], at_once: int) -> None:
    """Run notebooks, so many at a time; one that fails does not stop the others."""
    room = asyncio.Semaphore(at_once)
    failed = [path for path in await asyncio.gather(*(_run(path, room) for path in paths)) if path]
    if failed:
        raise DataProblem(
            "A cell of this notebook failed.",
            "What it says stands above. Open the notebook and run it cell by cell.",
            file=", ".join(path.name for path in failed),
        )


async def _run(path: Path, room: asyncio.Semaphore) -> Path | None:
    """Run one notebook in place; give its path if a cell fails."""
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError
    from traitlets.config import Config

    async with room:
        started = time.perf_counter()
        notebook = nbformat.read(path, as_version=4)
        client = NotebookClient(
            notebook,
            timeout=LONGEST_SECONDS,
            kernel_name="python3",
            resources={"metadata": {"path": str(path.parent)}},
            config=Config({"KernelManager": {"transport_encryption": ENCRYPTED}}),
        )
        try:
            await client.async_execute()
        except CellExecutionError as error:
            sys.stderr.write(f"  {path.name}: {error.ename}: {error.evalue}\n")
            return path
        except (CellTimeoutError, DeadKernelError) as error:
            sys.stderr.write(f"  {path.name}: {error}\n")
            return path
    _write(cleaned(notebook), path)
    sys.stdout.write(f"  {path.name} ... {time.perf_counter() - started:.1f} s\n")
    sys.stdout.flush()
    return None


def _write(notebook: NotebookNode, path: Path) -> None:
    """Write a notebook, the same on every system."""
    path.write_text(nbformat.writes(notebook) + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description="Run the notebooks of a folder again, in place.")
    asked.add_argument("folder", type=Path)
    refresh(asked.parse_args().folder)
