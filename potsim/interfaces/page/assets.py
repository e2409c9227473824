"""The page's own files, read once from the package; its modules are sent as one script, needs first."""

from __future__ import annotations

import gzip
import hashlib
import re
from collections.abc import Mapping
from importlib.resources import files
from importlib.resources.abc import Traversable

from potsim.errors import PotsimError
from potsim.records import dataclass

TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".webmanifest": "application/manifest+json",
}
FIRST = "main"  # the module that the page begins with
SCRIPT = "page.js"
_IMPORT = re.compile(
    r'^import (?:\* as (?P<whole>\w+)|\{(?P<names>[^}]*)\}) from "\./(?P<of>\w+)\.js";\n', re.M
)
_LATER = re.compile(r'\bimport\("\./(\w+)\.js"\)')
_EXPORT = re.compile(r"^export ((?:async )?(?:const|function|class) (?P<name>[\w$]+))", re.M)


@dataclass(frozen=True)
class Asset:
    """One file of the page, plain and packed."""

    content: bytes
    packed: bytes
    media_type: str
    etag: str


def assets() -> dict[str, Asset]:
    """Return every file of the page by its name, such as ``"css/page.css"``; nothing else becomes a path."""
    found = dict(_walk(files("potsim.interfaces.page").joinpath("static"), ""))
    modules = {name[3:-3]: text.decode("utf-8") for name, text in found.items() if name.startswith("js/")}
    found[SCRIPT] = one_script(modules).encode("utf-8")
    return {name: _asset(name, content) for name, content in found.items()}


def _walk(folder: Traversable, before: str) -> list[tuple[str, bytes]]:
    found = []
    for item in folder.iterdir():
        if item.is_dir():
            found += _walk(item, f"{before}{item.name}/")
        elif item.name[item.name.rfind(".") :] in TYPES:
            found.append((f"{before}{item.name}", item.read_bytes()))
    return found


def _asset(name: str, content: bytes) -> Asset:
    tag = f'"{hashlib.sha256(content).hexdigest()[:20]}"'
    packed = gzip.compress(content, 9, mtime=0)
    return Asset(content, packed, TYPES[name[name.rfind(".") :]], tag)


def one_script(modules: Mapping[str, str]) -> str:
    """Return modules as one script: each a closure that hands out what it exports, those it needs before it.

    Parameters
    ----------
    modules : mapping of str to str
        Name to source, with imports and exports as the modules of the page write them.

    Returns
    -------
    str
        To be run once; the modules are also at ``potsim`` of the page, by their names.
    """
    done: list[str] = []
    under_way: list[str] = []

    def add(name: str) -> None:
        if name in done:
            return
        if name in under_way:
            raise PotsimError(f"The modules of the page import each other in a circle: {under_way}.")
        under_way.append(name)
        text = modules[name]
        for needed in [*(found["of"] for found in _IMPORT.finditer(text)), *_LATER.findall(text)]:
            add(needed)
        under_way.pop()
        done.append(name)

    add(FIRST)
    closures = "\n".join(_closure(name, modules[name]) for name in done)
    return f'"use strict";\nconst potsim = {{}};\nglobalThis.potsim = potsim;\n{closures}\n'


def _closure(name: str, text: str) -> str:
    def bound(found: re.Match[str]) -> str:
        names = found["whole"] or f"{{{found['names'].replace(' as ', ': ')}}}"
        return f"const {names} = potsim.{found['of']};\n"

    exported = ", ".join(found["name"] for found in _EXPORT.finditer(text))
    text = _LATER.sub(r"Promise.resolve(potsim.\1)", _EXPORT.sub(r"\1", _IMPORT.sub(bound, text)))
    return f"potsim.{name} = (() => {{\n{text}return {{ {exported} }};\n}})();"
