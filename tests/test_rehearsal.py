"""Loops are compiled beside the first run, and nothing depends on it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from evenhand.cli import main
from evenhand.retouching import rehearsal

PORTRAIT = Path(__file__).parents[1] / "demo_images" / "freckles.jpg"

ANEW = """
import sys
from pathlib import Path
from numba.core.dispatcher import Dispatcher
from evenhand.retouching.portrait import retouch
from evenhand.retouching.rehearsal import rehearse

def compiled():
    loaded = [m for name, m in sys.modules.items() if name.startswith("evenhand.")]
    found = {f for m in loaded for f in vars(m).values() if isinstance(f, Dispatcher)}
    return {(f.__module__, f.__name__, str(s)) for f in found for s in f.signatures}

rehearse(8)
before = compiled()
retouch(Path(sys.argv[1]), Path("unused"), dry_run=True)
print(*(name for module, name, _ in compiled() - before if ".steps." not in module))
"""
"""Says which loops a retouch compiles after a rehearsal, but those that come before its end."""


def test_a_retouch_finds_its_loops_compiled() -> None:
    folders = {"PYTHONPATH": os.pathsep.join(map(os.path.abspath, sys.path))}
    done = subprocess.run(
        [sys.executable, "-c", ANEW, str(PORTRAIT)],
        env=os.environ | folders,
        check=True,
        capture_output=True,
        text=True,
    )
    assert done.stdout.split() == []


@pytest.mark.parametrize("command", ["/does/not/exist", "/bin/false", "/bin/cat"])
def test_without_it_all_goes_on(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A process that cannot be started, fails at once, or is another one."""
    monkeypatch.setattr(rehearsal, "is_kept", lambda _: False)
    monkeypatch.setattr(rehearsal, "available", lambda: 2)
    monkeypatch.setattr(sys, "executable", command)
    done = CliRunner().invoke(main, ["retouch", str(PORTRAIT), "--out", str(tmp_path)])
    assert done.exit_code == 0, done.output
    assert (tmp_path / "freckles.report.json").exists()


def test_it_ends_with_the_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    waiting = tmp_path / "waiting"
    waiting.write_text("#!/bin/sh\nexec sleep 600\n")
    waiting.chmod(0o700)
    monkeypatch.setattr(rehearsal, "is_kept", lambda _: False)
    monkeypatch.setattr(rehearsal, "available", lambda: 2)
    monkeypatch.setattr(sys, "executable", str(waiting))
    begun: list[subprocess.Popen[bytes]] = []
    popen = subprocess.Popen

    def noted(*given: object, **more: object) -> subprocess.Popen[bytes]:
        begun.append(popen(*given, **more))  # type: ignore[call-overload]
        return begun[-1]

    monkeypatch.setattr(subprocess, "Popen", noted)
    with rehearsal.rehearsal([PORTRAIT]):
        assert begun[0].poll() is None
    assert begun[0].poll() is not None
    with rehearsal.rehearsal([PORTRAIT, PORTRAIT]):
        assert len(begun) == 1
