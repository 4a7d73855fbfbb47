"""Results written in turn, as those of large photographs are, are those written at once."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from evenhand.computing import RetouchSettings
from evenhand.retouching import portrait as retouching

PORTRAIT = Path(__file__).parents[1] / "demo_images" / "freckles.jpg"
WHEN = datetime(2026, 7, 4, 12, tzinfo=UTC)


def test_in_turn_gives_the_same_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settings = RetouchSettings(steps=("marks", "redness", "smoothing"))
    one = retouching.retouch(PORTRAIT, tmp_path / "once", settings, when=WHEN)
    monkeypatch.setattr(retouching, "MOST_AT_ONCE", 0)
    other = retouching.retouch(PORTRAIT, tmp_path / "turn", settings, when=WHEN)
    first, second = contents(tmp_path / "once"), contents(tmp_path / "turn")
    assert first == second
    assert len(first) == 7  # portrait, before/after, marks, and a layer set of four files
    times = {"stages", "seconds"}
    assert one.model_dump(exclude=times) == other.model_dump(exclude=times)


def contents(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.endswith("report.json")
    }


LEFT = """
import gc, sys
from pathlib import Path
from evenhand.retouching import portrait as retouching
from evenhand.photo.photograph import Photograph
retouching.retouch(Path(sys.argv[1]), Path("unused"), dry_run=True)
gc.collect()
sys.exit(sum(isinstance(left, Photograph) for left in gc.get_objects()))
"""


def test_nothing_of_a_photograph_is_kept() -> None:
    """Looked at in a fresh process, since it is loading the networks that could keep it."""
    folders = {"PYTHONPATH": os.pathsep.join(map(os.path.abspath, sys.path))}
    done = subprocess.run(
        [sys.executable, "-c", LEFT, str(PORTRAIT)], env=os.environ | folders, check=False
    )
    assert done.returncode == 0
