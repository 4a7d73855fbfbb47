"""The pages: the photographer's, the client's proof, and the link that asks a person's permission.

Every file is read once at the start and served by its exact name, so that no path of a request is
ever opened. They are plain HTML, CSS and modules as browsers understand them; nothing is built.
"""

from __future__ import annotations

import hashlib
import json
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from fastapi.responses import PlainTextResponse

MEDIA_TYPES = {
    "html": "text/html; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "json": "application/json",
    "svg": "image/svg+xml",
    "woff2": "font/woff2",
    "txt": "text/plain; charset=utf-8",
}
"""What is served, by the end of a file's name."""

ENTRANCES = {"/": "studio.html", "/proof": "proof.html", "/permission": "permission.html"}
"""The page at each path; a link's token follows behind a hash, which no browser sends."""

router = APIRouter(include_in_schema=False)


@cache
def page_files() -> dict[str, tuple[bytes, str, str]]:
    """Content, media type and entity tag of every file, by its path below the pages."""
    found: dict[str, tuple[bytes, str, str]] = {}

    def collect(folder: Traversable, above: str) -> None:
        for item in folder.iterdir():
            if item.is_dir():
                collect(item, f"{above}{item.name}/")
            elif item.name.rpartition(".")[2] in MEDIA_TYPES:
                body = item.read_bytes()
                tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
                media_type = MEDIA_TYPES[item.name.rpartition(".")[2]]
                found[above + item.name] = (body, media_type, tag)

    collect(files("evenhand") / "web" / "pages", "")
    return found


def _served(name: str, request: Request) -> Response:
    if name not in page_files():
        return PlainTextResponse("There is no such page.", 404)
    body, media_type, tag = page_files()[name]
    headers = {"ETag": tag, "Cache-Control": "no-cache"}
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    return Response(body, media_type=media_type, headers=headers)


@router.get("/")
def studio_page(request: Request) -> Response:
    """The photographer's page."""
    return _served(ENTRANCES["/"], request)


@router.get("/proof")
def proof_page(request: Request) -> Response:
    """The client's page."""
    return _served(ENTRANCES["/proof"], request)


@router.get("/permission")
def permission_page(request: Request) -> Response:
    """The page that asks a person."""
    return _served(ENTRANCES["/permission"], request)


@router.get("/pages/languages.json")
def languages() -> dict[str, dict[str, str | bool]]:
    """Languages that the pages speak: one for every file of texts.

    Each by its own name, and whether it says everything; one that does not is for the pages of
    links alone.
    """
    texts = {
        name.removeprefix("texts/").removesuffix(".json"): json.loads(body)
        for name, (body, _, _) in sorted(page_files().items())
        if name.startswith("texts/")
    }
    return {
        language: {"name": words["language.name"], "whole": words.keys() >= texts["en"].keys()}
        for language, words in texts.items()
    }


@router.get("/pages/{name:path}")
def page_file(name: Annotated[str, Path(max_length=100)], request: Request) -> Response:
    """A file that a page loads."""
    return _served(name, request)
