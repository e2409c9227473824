"""The notebooks run from top to bottom without a network, and show a picture where one should be."""

from __future__ import annotations

import asyncio
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

EXAMPLES = Path(__file__).parents[1] / "examples"
NOTEBOOKS = sorted(EXAMPLES.glob("*.ipynb"))


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> dict[str, nbformat.NotebookNode]:
    """All of them run, side by side: most of the time goes into starting kernels."""
    here = str(tmp_path_factory.mktemp("notebooks"))
    read = {path.stem: nbformat.read(path, as_version=4) for path in NOTEBOOKS}
    assert not any(cell.get("outputs") for book in read.values() for cell in book.cells)  # kept without

    async def run() -> None:
        resources = {"metadata": {"path": here}}
        clients = [NotebookClient(book, timeout=300, resources=resources) for book in read.values()]
        await asyncio.gather(*(client.async_execute() for client in clients))

    asyncio.run(run())
    return read


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize("name", [path.stem for path in NOTEBOOKS])
def test_it_runs_and_shows_its_pictures(name: str, books: dict[str, nbformat.NotebookNode]) -> None:
    for cell in books[name].cells:
        if cell.cell_type != "code":
            continue
        assert cell.outputs, cell.source
        shown = " ".join(
            f"{kind} {value}" for out in cell.outputs for kind, value in out.get("data", {}).items()
        )
        if "picture" in cell.metadata.get("tags", []):
            assert "image/png" in shown, cell.source
        assert not any(out.get("name") == "stderr" for out in cell.outputs), cell.outputs


def test_there_are_three_and_the_index_names_them() -> None:
    text = (EXAMPLES / "README.md").read_text(encoding="utf-8")
    assert len(NOTEBOOKS) == 3
    assert all(path.name in text for path in NOTEBOOKS)
