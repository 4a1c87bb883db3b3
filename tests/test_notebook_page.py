"""The first hour as a notebook: made of the page, and run as it stands."""

from __future__ import annotations

import doctest
import importlib.util
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from tests.pages import ALIKE

SCENES = Path(__file__).resolve().parents[1] / "scenes"


@pytest.fixture(scope="module")
def maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("notebook", SCENES / "notebook.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_notebook_is_the_page_s(maker: ModuleType) -> None:
    """`python scenes/notebook.py` makes it anew."""
    nbformat = pytest.importorskip("nbformat")
    page = (SCENES / "FIRST_HOUR.md").read_text(encoding="utf-8")
    text = (SCENES / "FIRST_HOUR.ipynb").read_text(encoding="utf-8")
    assert text == maker.text_of(page)
    nbformat.validate(nbformat.reads(text, as_version=4))


@pytest.mark.slow
def test_every_cell_of_python_and_one_of_the_shell_give_what_the_page_gives(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    nbformat = pytest.importorskip("nbformat")
    nbclient = pytest.importorskip("nbclient")
    monkeypatch.setenv("COLUMNS", "80")
    (tmp_path / "scenes").symlink_to(SCENES)
    notebook = nbformat.read(SCENES / "FIRST_HOUR.ipynb", as_version=4)
    notebook.cells = list(without_more_shell(notebook.cells))
    nbclient.NotebookClient(
        notebook, timeout=300, resources={"metadata": {"path": str(tmp_path)}}
    ).execute()
    cells = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert len(cells) >= 12
    for cell in cells:
        shows, output = cell.metadata.shows, "".join(map(_text, cell.outputs))
        alike = not shows or doctest.OutputChecker().check_output(shows, output, ALIKE)
        assert alike, f"{cell.source}\n{output}"


def without_more_shell(cells: list[Any]) -> Iterator[Any]:
    """The cells up to the first command of the shell, and those of Python after it.

    The same commands are run in `tests/test_first_hour.py`, without a process for each.
    """
    commands = 0
    for cell in cells:
        commands += cell.source.startswith("%%sh")
        if commands <= 1 or not cell.source.startswith("%%sh"):
            yield cell


def _text(output: Any) -> str:
    """What a cell printed, or the text of its last value."""
    return str(output.get("text") or output.get("data", {}).get("text/plain", ""))
