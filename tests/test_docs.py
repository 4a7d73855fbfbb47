"""The documentation: links lead somewhere, the site is whole, its code runs."""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
from pathlib import Path

import pytest

import evenhand
from evenhand.cli import main
from evenhand.computing import STEPS
from tests.pictures import frame_of, person_in, write_file

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "service" / "docs"
PAGES = sorted(
    path
    for path in [*ROOT.glob("*.md"), *DOCS.glob("*.md"), *ROOT.glob("*/**/README.md")]
    if not {".venv", "node_modules"} & set(path.parts)
)
LINK = re.compile(r"\]\(([^)\s]+)\)")
CODE = re.compile(r"```.*?```|`[^`\n]*`", re.DOTALL)
HEADING = re.compile(r"^#+ (.*)$", re.MULTILINE)
PYTHON = re.compile(r"```python\n(.*?)```", re.DOTALL)

MOST_WORDS = 1200
"""Words of the README at most."""


def anchors(page: Path) -> set[str]:
    """What the headings of a page are linked by."""
    headings = HEADING.findall(re.sub(r"```.*?```", "", page.read_text("utf-8"), flags=re.DOTALL))
    return {re.sub(r"[^\w\- ]", "", h.lower()).replace(" ", "-") for h in headings}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_lead_somewhere(page: Path) -> None:
    for link in LINK.findall(CODE.sub("", page.read_text("utf-8"))):
        if re.match(r"[a-z]+:", link):
            continue
        path, _, anchor = link.partition("#")
        there = (page.parent / path).resolve() if path else page
        assert there.exists(), f"{page.name} links to {link}, which is not there"
        assert there.is_relative_to(ROOT), f"{page.name} links out of the repository: {link}"
        if anchor and there.suffix == ".md":
            assert anchor in anchors(there), f"{page.name} links to {link}; no such heading"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site as its command builds it; a warning is an error."""
    if importlib.util.find_spec("mkdocstrings") is None:
        pytest.skip("mkdocs is not installed")
    folder = tmp_path_factory.mktemp("site")
    command = [sys.executable, "-m", "mkdocs", "build", "--strict", "-q"]
    command += ["-f", str(ROOT / "service" / "mkdocs.yml"), "-d", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


def test_the_site_loads_nothing_from_elsewhere(site: Path) -> None:
    for page in site.glob("*.html"):
        text = page.read_text("utf-8")
        loaded = re.findall(r'(?:src|<link[^>]*href)="((?:https?:)?//[^"]*)"', text)
        assert not loaded, f"{page.name} loads {loaded}"


def test_the_site_names_everything_public(site: Path) -> None:
    text = (site / "api.html").read_text("utf-8")
    for name in evenhand.__all__:
        home, there = evenhand.home_of(name)
        assert f'id="evenhand.{home}.{there}"' in text, f"{name} is missing"
    commands = (site / "commands.html").read_text("utf-8")
    for name in main.commands:
        assert f'id="evenhand-{name}"' in commands, f"the command {name} is missing"
    settings = (site / "steps.html").read_text("utf-8")
    for name in STEPS:
        assert f'id="{name}"' in settings, f"the step {name} is missing"


@pytest.mark.parametrize("name", ["arrays", "own-step"])
def test_code_of_the_pages_runs(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One block after the other, on the made-up person."""
    write_file(frame_of(100, 140), tmp_path / "start.jpg")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(
        "evenhand.people.finding.find_people", lambda photo, *_: [person_in(*photo.shape)]
    )
    known: dict[str, object] = {}
    for block in PYTHON.findall((DOCS / f"{name}.md").read_text("utf-8")):
        exec(compile(block, name, "exec"), known)  # the documentation's own code
    assert [layer.step for layer in known["layers"]]  # type: ignore[attr-defined]


def test_the_readme_is_short_and_says_what_to_heed() -> None:
    text = (ROOT / "README.md").read_text("utf-8")
    assert len(text.split()) <= MOST_WORDS
    for page in (ROOT / "README.md", DOCS / "index.md"):
        said = page.read_text("utf-8")
        for word in ("doctor", "medical device", "guardian", "biometric", "labelled", "Local law"):
            assert word in said, f"{page.name} does not say {word}"
