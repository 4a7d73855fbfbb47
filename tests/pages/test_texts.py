"""Every text the pages say is there, in every language, with the same places to fill in."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from evenhand.jobs.job import Kind
from evenhand.jobs.retoucher import Engine
from evenhand.people.person import Region
from evenhand.report import NOTICES
from evenhand.shoots.permissions import LASTING_MARKS
from evenhand.web import models, page_routes

PAGES = Path(page_routes.__file__).parent / "pages"
TEXTS = {path.stem: json.loads(path.read_text()) for path in (PAGES / "texts").glob("*.json")}
WHOLE = [language for language, words in TEXTS.items() if words.keys() >= TEXTS["en"].keys()]
LINKS = [PAGES / "proof.js", PAGES / "permission.js", *(PAGES / "client").glob("*.js")]
# Modules of the pages that a link opens; a language may speak for these alone.
MODULES = {path: path.read_text() for path in PAGES.rglob("*.js")}


def forms(text: str | dict[str, str]) -> list[str]:
    return [text] if isinstance(text, str) else list(text.values())


def places(text: str | dict[str, str]) -> set[frozenset[str]]:
    """Places to fill in, of each form of a text."""
    return {frozenset(re.findall(r"\{(\w+)\}", form)) for form in forms(text)}


@pytest.mark.parametrize("language", sorted(TEXTS.keys() - {"en"}))
def test_every_language_says_the_same_things(language: str) -> None:
    assert set(WHOLE) >= {"en", "de"}
    assert [key for key in TEXTS["en"] if key in TEXTS[language]] == list(TEXTS[language])
    for key, text in TEXTS[language].items():
        assert places(text) == places(TEXTS["en"][key]), key


@pytest.mark.parametrize("language", sorted(TEXTS))
def test_every_language_speaks_for_the_pages_of_links(language: str) -> None:
    source = "".join(path.read_text() for path in LINKS)
    said = set(re.findall(r'say(?:Or)?\("([^"]+)"', source)) | {"skip", "language"}
    said |= set(re.findall(r'"(client\.[^"]+)"', source))
    said |= {
        key
        for start in re.findall(r"say(?:Or)?\(`([a-z.-]+)\.\$\{", source)
        for key in TEXTS["en"]
        if key.startswith(f"{start}.")
    }
    assert len(said) > 80
    assert sorted(said - TEXTS[language].keys()) == []


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.name)
def test_every_text_that_is_said_is_there(path: Path) -> None:
    said = re.findall(r'\bsay\("([^"]+)"', MODULES[path])
    assert [key for key in said if key not in TEXTS["en"]] == []


@pytest.mark.parametrize(
    ("beginning", "ends"),
    [
        ("state", models.PortraitOut.model_fields["state"].annotation.__args__),  # type: ignore[union-attr]
        ("region", [region.value for region in Region]),
        ("step", [*Engine().settings(), LASTING_MARKS]),
        ("step-means", [*Engine().settings(), LASTING_MARKS]),
        ("notice", NOTICES),
        ("wish", ["leave it", "please remove"]),
        (
            "job",
            [
                f"{kind}{end}"
                for kind in (Kind.FINAL, Kind.DELIVERY)
                for end in ("", ".done", ".failed", ".cancelled")
            ],
        ),
    ],
)
def test_whatever_the_service_names_has_a_word(beginning: str, ends: list[str]) -> None:
    assert [end for end in ends if f"{beginning}.{end}" not in TEXTS["en"]] == []


def test_no_text_is_left_over() -> None:
    source = "".join(MODULES.values()) + "".join(p.read_text() for p in PAGES.glob("*.html"))
    made = [re.escape(start) for start in re.findall(r"say(?:Or)?\(`([a-z.-]+)\.\$\{", source)]
    listed = re.compile(rf"(?:{'|'.join(made)})\..+")
    left = [key for key in TEXTS["en"] if f'"{key}"' not in source and not listed.fullmatch(key)]
    assert left == ["language.name"]  # told by the service


WRITTEN = [path for path in sorted(PAGES.rglob("*.*")) if path.parent.name != "typeface"]
# The typeface's licence names where its text is found; no page loads from there.


@pytest.mark.parametrize("path", WRITTEN, ids=lambda path: path.name)
def test_the_pages_name_no_other_machine(path: Path) -> None:
    """They work offline; the W3C's addresses are names of XML vocabularies."""
    named = re.findall(r"(?:https?:)?//(?!www\.w3\.org/)[a-z0-9-]+\.[a-z]{2,}", path.read_text())
    assert named == []
