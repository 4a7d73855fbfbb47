"""The audit of dependencies against entries as the OSV schema has them, and the bill."""

from __future__ import annotations

import json
import tomllib
import zipfile
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from tests.dependencies import ROOT, bill, main, pinned

LOCK = ROOT / "requirements.lock"


def osv(path: Path, *entries: dict[str, Any]) -> Path:
    """A saved database with these entries."""
    with zipfile.ZipFile(path, "w") as out:
        for number, entry in enumerate(entries):
            out.writestr(f"{number}.json", json.dumps({"id": f"X-{number}", **entry}))
    return path


def affected(name: str, **more: Any) -> dict[str, Any]:
    """An entry about a package."""
    return {"affected": [{"package": {"ecosystem": "PyPI", "name": name}, **more}]}


def ranged(*events: dict[str, str]) -> dict[str, Any]:
    """A range of versions."""
    return {"ranges": [{"type": "ECOSYSTEM", "events": list(events)}]}


def audit(lock: Path, *arguments: str) -> Any:
    """What the audit says."""
    return CliRunner().invoke(main, ["audit", "--lock", str(lock), *arguments])


@pytest.fixture
def lock(tmp_path: Path) -> Path:
    """A lock file with one dependency."""
    path = tmp_path / "some.lock"
    path.write_text(f"Some_Thing==1.4.2 \\\n    --hash=sha256:{'a' * 64}\n")
    return path


def test_without_a_database_it_says_that_it_cannot_tell(lock: Path, tmp_path: Path) -> None:
    for arguments in ((), ("--database", str(tmp_path / "none.zip"))):
        said = audit(lock, *arguments)
        assert said.exit_code == 3
        assert "cannot be told" in said.output


@pytest.mark.parametrize(
    ("entry", "expected"),
    [
        (affected("some-thing", versions=["1.4.2"]), 1),
        (affected("some.thing", **ranged({"introduced": "0"}, {"fixed": "1.5"})), 1),
        (affected("some-thing", **ranged({"introduced": "0"}, {"fixed": "1.4.2"})), 0),
        (affected("some-thing", **ranged({"introduced": "1.5"})), 0),
        (affected("some-thing", **ranged({"introduced": "1.0"}, {"last_affected": "1.4.2"})), 1),
        (
            affected(
                "some-thing",
                **ranged(
                    {"introduced": "0"}, {"fixed": "1.0"}, {"introduced": "1.4"}, {"fixed": "2.0"}
                ),
            ),
            1,
        ),
        (affected("other", versions=["1.4.2"]), 0),
        ({**affected("some-thing", versions=["1.4.2"]), "withdrawn": "2024-01-01T00:00:00Z"}, 0),
    ],
)
def test_versions_are_compared_as_the_schema_says(
    lock: Path, tmp_path: Path, entry: dict[str, Any], expected: int
) -> None:
    said = audit(lock, "--database", str(osv(tmp_path / "all.zip", entry)))
    assert said.exit_code == expected, said.output
    assert f"1 dependencies, {expected} known weaknesses" in said.output


def test_every_dependency_of_the_lock_file_is_in_the_bill() -> None:
    """Fields as CycloneDX 1.5 (ECMA-424) asks for them."""
    made = bill(LOCK, "1.0")
    assert (made["bomFormat"], made["specVersion"]) == ("CycloneDX", "1.5")
    names = {one["name"] for one in made["components"]}
    assert len({one["bom-ref"] for one in made["components"]}) == len(pinned(LOCK)) > 50
    for one in made["components"]:
        assert one["purl"] == f"pkg:pypi/{one['name']}@{one['version']}"
        assert one["properties"]
    assert bill(LOCK, "1.0") == made
    wanted = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["dependencies"]
    assert {"numpy", "mediapipe", "pydantic"} <= names
    assert len(wanted) <= len(names)
