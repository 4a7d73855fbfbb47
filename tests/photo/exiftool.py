"""ExifTool (Debian's libimage-exiftool-perl) as one process that is asked again and again."""

from __future__ import annotations

import atexit
import json
import shutil
import subprocess
from functools import cache
from pathlib import Path
from typing import Any

import pytest

_READY = "{ready}"
"""What ExifTool prints when a command is done (its option -stay_open)."""

_ABOUT_THE_FILE = ("ExifTool:", "System:", "Composite:", "SourceFile")
"""Groups of what ExifTool says that is not in the file, or follows from what is."""


def exiftool(*arguments: str | Path) -> str:
    """Run one command; fails the test where ExifTool reports an error."""
    process = _process()
    assert process.stdin is not None
    assert process.stdout is not None
    lines = [*map(str, arguments), "-execute"]
    process.stdin.write("\n".join(lines) + "\n")
    process.stdin.flush()
    answer = []
    for line in process.stdout:
        if line.strip() == _READY:
            break
        answer.append(line)
    text = "".join(answer)
    assert "Error" not in text, text
    return text


def tags_of(path: Path) -> dict[str, Any]:
    """Every tag in the file, by group and name, as ExifTool reads it."""
    (found,) = json.loads(exiftool("-j", "-G1", "-n", "-struct", path))
    return {key: value for key, value in found.items() if not key.startswith(_ABOUT_THE_FILE)}


@cache
def _process() -> subprocess.Popen[str]:
    if shutil.which("exiftool") is None:
        pytest.skip("ExifTool is not installed (Debian: libimage-exiftool-perl)")
    process = subprocess.Popen(
        ["exiftool", "-stay_open", "True", "-@", "-"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    atexit.register(process.terminate)
    return process
