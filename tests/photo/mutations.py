"""Damaged files by the thousand through the reader: no crash, no hang, no flood of memory.

``python -m tests.photo.mutations --count 5000`` damages small files of every format, each in its
own way, and reads them in processes with limits of time and memory; what can still be read is
changed and written too. Every file must be read or refused with one of the package's own errors.
"""

from __future__ import annotations

import argparse
import json
import resource
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

SECONDS = 10
"""A file that computes for longer counts as a hang."""

WALL_SECONDS = 120
"""So does one that takes longer by the clock; other work on the machine may slow it down."""

MEMORY = 2 << 30
"""Bytes of resident memory that no file may drive the reader above."""


@dataclass(frozen=True)
class Outcome:
    """What became of one damaged file: read, refused, or a failure with its reason."""

    number: int
    form: str
    damage: str
    verdict: str
    detail: str


def sound_files() -> dict[str, bytes]:
    """Small sound files of every format, by name."""
    from tests.photo.pictures import PROFILES, scene, write_with_pillow, write_with_vips
    from tests.photo.test_raw import write_dng

    files: dict[str, bytes] = {}
    with tempfile.TemporaryDirectory() as folder:

        def add(name: str, suffix: str, write, *arguments, **options) -> None:  # type: ignore[no-untyped-def]
            path = Path(folder) / f"{len(files)}{suffix}"
            write(path, *arguments, **options)
            files[name] = path.read_bytes()

        icc = PROFILES["sRGB"]
        add("JPEG", ".jpg", write_with_pillow, scene(8), icc, 6)
        add("JPEG restarts", ".jpg", write_with_pillow, scene(8), None, 1, restart_marker_blocks=2)
        add("JPEG progressive", ".jpg", write_with_pillow, scene(8), icc, 1, progressive=True)
        add("PNG 8", ".png", write_with_pillow, scene(8), icc, 3)
        add("PNG 16", ".png", write_with_vips, scene(16), icc, 1)
        add("TIFF plain", ".tif", write_with_pillow, scene(8), icc, 8)
        for compression in ("none", "lzw", "deflate", "packbits"):
            add(
                f"TIFF 16 {compression} tiles",
                ".tif",
                write_with_vips,
                scene(16),
                icc,
                1,
                compression=compression,
                tile=True,
                tile_width=32,
                tile_height=32,
            )
        add(
            "BigTIFF lzw",
            ".tif",
            write_with_vips,
            scene(8),
            icc,
            1,
            compression="lzw",
            bigtiff=True,
        )
        add("DNG", ".dng", write_dng)
        _add_heif(files)
    return files


def _add_heif(files: dict[str, bytes]) -> None:
    import io

    from PIL import Image

    from tests.photo.pictures import scene

    buffer = io.BytesIO()
    Image.fromarray(scene(8)).save(buffer, "AVIF")
    files["AVIF"] = buffer.getvalue()
    try:
        import pillow_heif
    except ImportError:
        return
    buffer = io.BytesIO()
    pixels = scene(8)
    pillow_heif.from_bytes("RGB", pixels.shape[1::-1], pixels.tobytes()).save(buffer)
    files["HEIF"] = buffer.getvalue()


def damaged(content: bytes, random: np.random.Generator) -> tuple[str, bytes]:
    """The file damaged in one of several ways; gives back which, and the new content."""
    data = bytearray(content)
    size = len(data)
    # Headers and directories lie at the ends, so half of all damage is done there.
    near = min(size, 400)
    place = int(random.integers(size))
    if random.random() < 0.5:
        place = (
            int(random.integers(near))
            if random.random() < 0.7
            else size - 1 - int(random.integers(near))
        )
    kind = str(
        random.choice(["cut", "bits", "bytes", "remove", "repeat", "insert", "number", "zero"])
    )
    length = int(min(size - place, random.integers(1, 200)))
    match kind:
        case "cut":
            del data[place:]
        case "bits":
            for _ in range(int(random.integers(1, 12))):
                spot = int(random.integers(size))
                data[spot] ^= 1 << int(random.integers(8))
        case "bytes":
            data[place : place + length] = random.bytes(length)
        case "remove":
            del data[place : place + length]
        case "repeat":
            data[place:place] = data[place : place + length]
        case "insert":
            data[place:place] = random.bytes(length)
        case "number":
            lie = random.choice(
                [
                    b"\xff\xff",
                    b"\x7f\xff\xff\xff",
                    b"\xff\xff\xff\xff",
                    b"\x00\x00\x00\x01",
                    b"\x00\x00",
                    b"\xff\xff\xff\x7f",
                    b"\x00\x40",
                    b"\x40\x00",
                ]
            )
            data[place : place + len(lie)] = lie
        case "zero":
            data[place : place + length] = bytes(length)
    return kind, bytes(data)


def damaged_file(files: dict[str, bytes], seed: int, number: int) -> tuple[str, str, bytes]:
    """Format, kind of damage and content of the file with this number."""
    random = np.random.default_rng([seed, number])
    form = sorted(files)[number % len(files)]
    kind, content = damaged(files[form], random)
    if random.random() < 0.2:
        again, content = damaged(content or b"\x00", random)
        kind = f"{kind}+{again}"
    return form, kind, content


def _peak() -> int:
    """Most resident memory of this program, bytes; that of whoever started it does not count."""
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) * 1024


def work(seed: int, numbers: range) -> None:
    """Read damaged files one after another and print a line for each; may die on any."""
    from evenhand import photo
    from evenhand.errors import EvenhandError

    files = sound_files()
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with tempfile.TemporaryDirectory() as folder:
        path, result = Path(folder) / "damaged.bin", Path(folder) / "result"

        def read_and_write(content: bytes) -> None:
            path.write_bytes(content)
            photograph = photo.read(path)
            pixels = photograph.pixels.copy()
            pixels[:8, :8] ^= 1
            target = result.with_suffix(photograph.result_suffix)
            photo.write(pixels, photograph, target, overwrite=True)

        for content in files.values():  # loads and compiles what reading needs
            read_and_write(content)
        for number in numbers:
            form, kind, content = damaged_file(files, seed, number)
            print(json.dumps({"begins": number, "form": form, "damage": kind}), flush=True)
            verdict, detail = "read", ""
            signal.setitimer(signal.ITIMER_PROF, SECONDS)
            signal.alarm(WALL_SECONDS)
            try:
                read_and_write(content)
            except EvenhandError as error:
                verdict, detail = "refused", type(error).__name__
            except Exception as error:
                verdict, detail = "wrong error", f"{type(error).__name__}: {error}"
            signal.setitimer(signal.ITIMER_PROF, 0)
            signal.alarm(0)
            peak = _peak()
            if peak > MEMORY:
                verdict, detail = "memory", f"{peak >> 20} MiB"
            print(json.dumps({"ends": number, "verdict": verdict, "detail": detail}), flush=True)
            if peak > MEMORY:
                return


def outcomes(count: int, seed: int) -> Iterator[Outcome]:
    """Read `count` damaged files in processes that are started again where one dies."""
    following = 0
    while following < count:
        command = [sys.executable, "-m", "tests.photo.mutations", "--work", str(following)]
        command += ["--count", str(count), "--seed", str(seed)]
        with subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        ) as worker:
            begun: dict[str, object] | None = None
            assert worker.stdout is not None
            for line in worker.stdout:
                event = json.loads(line)
                if "begins" in event:
                    begun = event
                    continue
                assert begun is not None
                yield Outcome(
                    event["ends"],
                    str(begun["form"]),
                    str(begun["damage"]),
                    event["verdict"],
                    event["detail"],
                )
                following, begun = event["ends"] + 1, None
            code = worker.wait()
        if begun is None and code:
            raise RuntimeError(f"the worker could not start (exit status {code})")
        if begun is not None:
            verdict = "hang" if code in (-signal.SIGPROF, -signal.SIGALRM) else "crash"
            number = int(str(begun["begins"]))
            yield Outcome(
                number, str(begun["form"]), str(begun["damage"]), verdict, f"exit status {code}"
            )
            following = number + 1


def main() -> int:
    """Run from the command line; the exit status says whether every file came out well."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--work", type=int, default=None, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.work is not None:
        work(arguments.seed, range(arguments.work, arguments.count))
        return 0
    verdicts: Counter[tuple[str, str]] = Counter()
    failures = []
    for outcome in outcomes(arguments.count, arguments.seed):
        verdicts[outcome.form, outcome.verdict] += 1
        if outcome.verdict not in ("read", "refused"):
            failures.append(outcome)
            print(outcome)
    for form in sorted({form for form, _ in verdicts}):
        counts = {v: n for (f, v), n in sorted(verdicts.items()) if f == form}
        print(f"{form:24}", ", ".join(f"{n} {v}" for v, n in counts.items()))
    print(f"{sum(verdicts.values())} files, {len(failures)} failures")
    return bool(failures)


if __name__ == "__main__":
    sys.exit(main())
