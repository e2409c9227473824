"""The page's own files, read once from the package: nothing that a browser asks for becomes a path."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from importlib.resources.abc import Traversable

from starlette.requests import Request
from starlette.responses import Response

_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}


@dataclass(frozen=True)
class Asset:
    """One file."""

    content: bytes  # what it holds
    media_type: str  # what it is
    etag: str  # changes with the content


def assets() -> Mapping[str, Asset]:
    """Return every file of the page by its name, such as ``"js/main.js"``."""
    return dict(_walk(files("potsim.interfaces.page").joinpath("static"), ""))


def _walk(folder: Traversable, before: str) -> list[tuple[str, Asset]]:
    found = []
    for item in folder.iterdir():
        suffix = item.name[item.name.rfind(".") :]
        if item.is_dir():
            found += _walk(item, f"{before}{item.name}/")
        elif suffix in _TYPES:
            content = item.read_bytes()
            tag = hashlib.sha256(content).hexdigest()[:20]
            found.append((f"{before}{item.name}", Asset(content, _TYPES[suffix], f'"{tag}"')))
    return found


def served(asset: Asset, request: Request) -> Response:
    """Return a file, or that the browser's copy is still good."""
    headers = {"ETag": asset.etag, "Cache-Control": "no-cache"}
    if request.headers.get("if-none-match") == asset.etag:
        return Response(status_code=304, headers=headers)
    return Response(asset.content, media_type=asset.media_type, headers=headers)
