"""What Evenhand is built of: known weaknesses, and a bill of materials for each release.

``python -m tests.dependencies audit --database all.zip`` compares the lock file with a saved copy
of the open OSV database for PyPI (https://google.github.io/osv.dev/data/), without any network.
Without a database it says that it cannot tell, and ends with status 3.

``python -m tests.dependencies bill --out bom.json`` writes a CycloneDX 1.5 bill of materials
(ECMA-424); `.ci/release` does so with each release.
"""

from __future__ import annotations

import json
import re
import sys
import tomllib
import uuid
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
from packaging.utils import canonicalize_name
from packaging.version import InvalidVersion, Version

ROOT = Path(__file__).parents[1]
CANNOT_TELL = 3
"""Exit status where there is no database."""

PINNED = re.compile(r"^(?P<name>[A-Za-z0-9_.\-]+)==(?P<version>[^ ;\\]+)")


@dataclass(frozen=True)
class Pinned:
    """A dependency as the lock file has it."""

    name: str
    version: str
    sha256: tuple[str, ...]


@dataclass(frozen=True)
class Weakness:
    """A known weakness of a dependency."""

    id: str
    name: str
    version: str
    summary: str


def pinned(lock: Path) -> list[Pinned]:
    """Every dependency of a lock file."""
    found: list[Pinned] = []
    for line in lock.read_text().splitlines():
        if at := PINNED.match(line):
            found.append(Pinned(canonicalize_name(at["name"]), at["version"], ()))
        elif found and (digest := re.search("sha256:([0-9a-f]{64})", line)):
            last = found[-1]
            found[-1] = Pinned(last.name, last.version, (*last.sha256, digest[1]))
    return found


def weaknesses(dependencies: list[Pinned], database: Path) -> Iterator[Weakness]:
    """Weaknesses of these versions in a saved OSV database, a ZIP of one JSON file each.

    An entry counts where it lists the version, or where the version is inside one of its ranges
    (OSV schema 1.6, "evaluation").
    """
    versions: dict[str, set[str]] = {}
    for one in dependencies:
        versions.setdefault(one.name, set()).add(one.version)
    with zipfile.ZipFile(database) as entries:
        for member in entries.namelist():
            entry = json.loads(entries.read(member))
            if entry.get("withdrawn"):
                continue
            for affected in entry.get("affected", []):
                package = affected.get("package", {})
                name = canonicalize_name(package.get("name", ""))
                mine = versions.get(name, ()) if package.get("ecosystem") == "PyPI" else ()
                for version in mine:
                    if _is_affected(version, affected):
                        yield Weakness(entry["id"], name, version, entry.get("summary", ""))


def bill(lock: Path, version: str) -> dict[str, Any]:
    """A bill of materials of a lock file (CycloneDX 1.5); the same lock gives the same bill."""
    dependencies = pinned(lock)
    seed = json.dumps([[one.name, one.version] for one in dependencies])
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "serialNumber": f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, f'evenhand {version} {seed}')}",
        "version": 1,
        "metadata": {"component": {"type": "application", "name": "evenhand", "version": version}},
        "components": [
            {
                "type": "library",
                "name": one.name,
                "version": one.version,
                "purl": f"pkg:pypi/{one.name}@{one.version}",
                "bom-ref": f"pkg:pypi/{one.name}@{one.version}",
                "properties": [
                    {"name": "evenhand:distribution-sha256", "value": digest}
                    for digest in one.sha256
                ],
            }
            for one in dependencies
        ],
    }


def _is_affected(version: str, affected: dict[str, Any]) -> bool:
    if version in affected.get("versions", []):
        return True
    return any(
        _is_inside(version, found["events"])
        for found in affected.get("ranges", [])
        if found.get("type") == "ECOSYSTEM"
    )


def _is_inside(version: str, events: list[dict[str, str]]) -> bool:
    """Whether a version lies in a range: introduced, not fixed, not past the last."""
    inside = False
    mine = Version(version)
    for event in events:
        [(kind, limit)] = event.items()
        try:
            at = Version("0.dev0" if limit == "0" else limit)
        except InvalidVersion:
            continue
        if kind == "introduced" and mine >= at:
            inside = True
        elif (kind == "fixed" and mine >= at) or (kind == "last_affected" and mine > at):
            inside = False
    return inside


@click.group()
def main() -> None:
    """Audit dependencies, or write their bill of materials."""


LOCK = click.option(
    "--lock",
    default=ROOT / "requirements.lock",
    show_default="requirements.lock",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
)


@main.command("audit")
@LOCK
@click.option(
    "--database",
    type=click.Path(path_type=Path),
    help="A saved OSV database for PyPI, all.zip.",
)
def audit_command(lock: Path, database: Path | None) -> None:
    """Compare the lock file with a saved database: status 0 nothing known, 1 something, 3 unknown.

    Nothing is fetched.
    """
    if database is None or not zipfile.is_zipfile(database):
        click.echo(
            "It cannot be told whether the dependencies have known weaknesses: there is no saved "
            "database. Save the PyPI export of the OSV database (all.zip) on a machine with a "
            "network, and give it with --database.",
            err=True,
        )
        sys.exit(CANNOT_TELL)
    saved = datetime.fromtimestamp(database.stat().st_mtime, UTC)
    dependencies = pinned(lock)
    found = sorted(set(weaknesses(dependencies, database)), key=lambda one: (one.name, one.id))
    for one in found:
        click.echo(f"{one.name} {one.version}: {one.id} {one.summary}")
    click.echo(
        f"{len(dependencies)} dependencies, {len(found)} known weaknesses, by a database saved on "
        f"{saved:%Y-%m-%d}."
    )
    sys.exit(1 if found else 0)


@main.command("bill")
@LOCK
@click.option("--out", required=True, type=click.Path(dir_okay=False, path_type=Path))
def bill_command(lock: Path, out: Path) -> None:
    """Write the bill of materials."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    out.write_text(json.dumps(bill(lock, project["version"]), indent=2) + "\n")
    click.echo(f"{out}")


if __name__ == "__main__":
    main()
