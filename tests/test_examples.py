"""Every example runs, says something, and draws a picture no larger than the one that is kept."""

from __future__ import annotations

import ast
import json
import re
import runpy
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image

import potsim

EXAMPLES = Path(__file__).parents[1] / "examples"
SCRIPTS = sorted(path.stem for path in EXAMPLES.glob("*.py"))
LARGEST = 80_000  # bytes of a picture


@pytest.mark.parametrize("name", SCRIPTS)
def test_it_runs_and_draws(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "pictures").mkdir()
    for table in EXAMPLES.glob("*.csv"):
        shutil.copy(table, tmp_path)
    script = shutil.copy(EXAMPLES / f"{name}.py", tmp_path)
    runpy.run_path(script, run_name="__main__")
    said = capsys.readouterr().out.splitlines()
    assert len(said) >= 3
    assert not any("nan" in line.lower().split() for line in said)
    assert [path.name for path in (tmp_path / "pictures").iterdir()] == [f"{name}.png"]
    made, kept = tmp_path / "pictures" / f"{name}.png", EXAMPLES / "pictures" / f"{name}.png"
    for picture in (made, kept):
        assert picture.stat().st_size < LARGEST
    with Image.open(made) as drawn, Image.open(kept) as old:
        assert drawn.size == pytest.approx(old.size, abs=2)  # rounded otherwise by other versions
        assert len(drawn.convert("L").getcolors(maxcolors=256) or []) > 20  # not blank


@pytest.mark.parametrize("name", SCRIPTS)
def test_it_is_short(name: str) -> None:
    lines = (EXAMPLES / f"{name}.py").read_text(encoding="utf-8").splitlines()
    assert 10 <= len(lines) <= 60


def names_of_potsim(text: str) -> Iterator[str]:
    """What a script takes from potsim, with dots."""
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            yield from (one.name for one in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield from (f"{node.module}.{one.name}" for one in node.names)
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            yield f"{node.value.id}.{node.attr}"


@pytest.mark.parametrize("name", [path.name for path in (*EXAMPLES.glob("*.py"), *EXAMPLES.glob("*.ipynb"))])
def test_it_takes_public_names_only(name: str) -> None:
    text = (EXAMPLES / name).read_text(encoding="utf-8")
    if name.endswith(".ipynb"):
        cells = [cell for cell in json.loads(text)["cells"] if cell["cell_type"] == "code"]
        text = "\n".join("".join(cell["source"]) for cell in cells)
    public = {"potsim", *(f"potsim.{one}" for one in potsim.__all__)}
    public |= {f"potsim.trials.{one}" for one in potsim.trials.__all__}
    public |= {f"potsim.liquid.{one}" for one in ("strength", "equilibrium", "traces", "clouding")}
    assert {one for one in names_of_potsim(text) if one.split(".")[0] == "potsim"} <= public


def test_the_index_names_each_script_and_picture() -> None:
    text = (EXAMPLES / "README.md").read_text(encoding="utf-8")
    assert sorted(re.findall(r"^\| \[\w+\.py\]\((\w+)\.py\)", text, re.MULTILINE)) == SCRIPTS
    pictures = set(re.findall(r"pictures/(\w+)\.png", text))
    assert pictures == set(SCRIPTS)
    assert all((EXAMPLES / "pictures" / f"{name}.png").is_file() for name in pictures)
