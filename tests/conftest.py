"""What tests share: the built-in example, and a command line in a folder of its own."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings
from trial_cases import TASTED

import potsim
from potsim.interfaces import cli
from potsim.planning.plan import Plan

if TYPE_CHECKING:
    from page_server import Browser, Served


QUINCE = """
title = "Quince, second trial"
[[charge]]
name = "quince spirit"
volume = "1.2 L"
abv = "55 %"
[[charge]]
name = "water"
volume = "0.6 L"
[cuts]
heads = "20 mL"
stop = { stream_abv = "40 %" }
tails_from = { stream_abv = "55 %" }
[jars]
sizes = ["100 mL"]
keep = "2-5"
"""


# Drawn inputs are the same each time, so that what fails can be found again; --hypothesis-profile=default
# draws others.
settings.register_profile("suite", derandomize=True)
settings.load_profile("suite")

# Processes that tests start need not compile the package anew each time, nor leave anything beside it.
if os.environ.pop("PYTHONDONTWRITEBYTECODE", None):
    os.environ["PYTHONPYCACHEPREFIX"] = f"{tempfile.gettempdir()}/potsim-compiled-{os.getuid()}"


@dataclass(frozen=True)
class Said:
    """What one command line answered."""

    code: int
    out: str
    err: str
    error: BaseException | None = None  # that it was refused for


@pytest.fixture(autouse=True)
def figures_closed() -> Iterator[None]:
    """Leave no figure of pyplot open: it warns at the twenty-first, in whichever test that is."""
    yield
    if pyplot := sys.modules.get("matplotlib.pyplot"):
        pyplot.close("all")


@pytest.fixture(scope="session")
def example_plan() -> Plan:
    """Return the built-in example."""
    return potsim.example_plan()


@pytest.fixture(scope="session")
def bare(example_plan: Plan) -> Plan:
    """Return the built-in example without its botanicals."""
    return replace(example_plan, botanicals=())


@pytest.fixture(scope="session")
def example_run(example_plan: Plan) -> potsim.Run:
    """Return the run of the built-in example."""
    return potsim.distil(example_plan)


@pytest.fixture
def quince() -> str:
    """Return the plan that lies in the folder of `say`."""
    return QUINCE


@pytest.fixture
def say(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., Said]:
    """Run a command line in a folder of its own, which holds the plan quince.toml and a folder."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "quince.toml").write_text(QUINCE, encoding="utf-8")
    (tmp_path / "folder").mkdir()

    errors: list[BaseException] = []
    told = cli._told
    monkeypatch.setattr(cli, "_told", lambda error: (errors.append(error), told(error))[1])

    def said(*arguments: str) -> Said:
        errors.clear()
        code = cli.main(list(arguments))
        captured = capsys.readouterr()
        return Said(code, captured.out, captured.err, errors[0] if errors else None)

    return said


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Work in a folder with one trial that has been tasted."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "trial-1.toml").write_text(TASTED, encoding="utf-8")
    return tmp_path


@pytest.fixture(scope="module")
def here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Serve the page, with a folder of runs for the tests of one file."""
    from page_server import served

    with served(tmp_path_factory.mktemp("runs")) as page:
        yield page


@pytest.fixture
def browser(here: Served) -> Browser:
    """Return somebody who has just opened the page."""
    from page_server import Browser

    return Browser(here).open()
