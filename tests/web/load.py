"""Load on loopback: clients previewing and clients uploading at the same time.

Run ``python -m tests.web.load``. It starts the service itself on 127.0.0.1, with one portrait of
4,000 x 6,000 pixels whose layers the engine computes, asks a bounded number of requests, prints
what it measured as JSON, and ends with status 1 where a limit is missed. The portrait is NASA's of
astronaut Eileen Collins (`skimage.data.astronaut`, public domain), enlarged, with noise added.
"""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import click
import cv2
import httpx
import imagecodecs
import numpy as np
import psutil
from skimage import data

from tests.jobs.servers import free_port

PREVIEWERS = 8
"""Clients that look at previews at ever new strengths."""

UPLOADERS = 2
"""Clients that send photographs."""

PAUSE_S = 0.1
"""Between a client's requests: ten new strengths a second while a slider is dragged."""

SIDE = 1024
"""Longer side of a preview, pixels."""

P95_MS = 150.0
"""Limit for the 95th percentile of a preview's time."""

GROWTH_MB = 64.0
"""Most that memory may grow between the first third of the requests and the last."""

LONGEST_S = 540
"""After this long everything is ended."""


@dataclass
class Measured:
    """What the clients saw."""

    preview_ms: list[float] = field(default_factory=list)
    upload_s: list[float] = field(default_factory=list)
    memory_mb: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)


def photograph(seed: int, height: int = 6000, width: int = 4000) -> bytes:
    """A JPEG as a camera might give it, another for each seed."""
    large = cv2.resize(data.astronaut(), (width, width), interpolation=cv2.INTER_CUBIC)
    filled = cv2.copyMakeBorder(large, 0, height - width, 0, 0, cv2.BORDER_REFLECT)
    noise = np.random.default_rng(seed).normal(0, 2, (height, width, 1)).astype(np.float32)
    codes = np.clip(filled + noise, 0, 255).astype(np.uint8)
    return bytes(imagecodecs.jpeg8_encode(codes, level=92))


class Service:
    """The service as `evenhand serve` starts it."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        command = [
            sys.executable, "-m", "evenhand.web.commands", "serve", "--data", str(folder),
            "--port", str(self.port),
        ]  # fmt: skip
        environment = os.environ | {"EVENHAND_REQUESTS_PER_MINUTE": "100000"}
        log = (Path(tempfile.gettempdir()) / f"evenhand-load-{self.port}.log").open("wb")
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=log, env=environment, text=True
        )
        assert self.process.stdout is not None
        secret = self.process.stdout.readline().split()[-1]
        self.http = httpx.Client(
            base_url=f"http://127.0.0.1:{self.port}",
            headers={"Authorization": f"Bearer {secret}"},
            timeout=120,
        )
        for _ in range(300):
            try:
                self.http.get("/ready")
                return
            except httpx.HTTPError:
                time.sleep(0.2)
        raise RuntimeError("the service did not start")

    def json(self, method: str, path: str, **more: Any) -> Any:
        """What a path answers."""
        answer = self.http.request(method, path, **more)
        answer.raise_for_status()
        return answer.json()

    def settle(self, shoot: str) -> None:
        """Wait until no job is waiting or running."""
        deadline = time.monotonic() + 300
        while any(
            job["state"] in ("waiting", "running")
            for job in self.json("GET", f"/v1/shoots/{shoot}/jobs")
        ):
            assert time.monotonic() < deadline
            time.sleep(0.3)

    def memory_mb(self) -> float:
        """Resident memory of the web process, megabytes."""
        return float(psutil.Process(self.process.pid).memory_info().rss) / 2**20

    def stop(self) -> None:
        """Stop the service and everything it started."""
        children = psutil.Process(self.process.pid).children(recursive=True)
        self.process.terminate()
        try:
            self.process.wait(30)
        except subprocess.TimeoutExpired:
            self.process.kill()
        for child in children:
            if child.is_running():
                child.kill()


def prepare(service: Service) -> tuple[str, str, list[str]]:
    """A shoot, its portrait, and the steps whose layers are there."""
    shoot = service.json("POST", "/v1/shoots", json={"name": "Load"})["id"]
    path = f"/v1/shoots/{shoot}/portraits?name=a.jpg"
    added = service.json("POST", path, content=photograph(0))
    service.settle(shoot)
    portrait = added["portrait"]["id"]
    for number, person in enumerate(service.json("GET", f"/v1/portraits/{portrait}/people")):
        name = f"Person {number}"
        service.json("PUT", f"/v1/people/{person['id']}", json={"name": name})
        said = {"name": name, "steps": ["redness", "smoothing", "marks"]}
        service.json("POST", f"/v1/shoots/{shoot}/permissions", json=said)
    service.settle(shoot)
    layers = service.json("GET", f"/v1/portraits/{portrait}/layers")
    return shoot, portrait, sorted({layer["step"] for layer in layers})


def preview(
    service: Service, portrait: str, steps: list[str], count: int, seed: int, measured: Measured
) -> None:
    """One client that looks at previews."""
    chance = random.Random(seed)
    with httpx.Client(base_url=service.http.base_url, headers=service.http.headers) as http:
        for _ in range(count):
            strengths = ",".join(f"{step}:{chance.random():.3f}" for step in steps)
            began = time.perf_counter()
            answer = http.get(
                f"/v1/portraits/{portrait}/preview",
                params={"side": SIDE, "strengths": strengths},
                timeout=60,
            )
            measured.preview_ms.append((time.perf_counter() - began) * 1000)
            if answer.status_code != 200:
                measured.wrong.append(answer.text[:200])
            time.sleep(PAUSE_S)


def upload(
    service: Service, shoot: str, seed: int, over: threading.Event, measured: Measured
) -> None:
    """One client that sends photographs until the previews are done."""
    photographs = [photograph(seed * 100 + number, 3000, 2000) for number in range(4)]
    with httpx.Client(base_url=service.http.base_url, headers=service.http.headers) as http:
        while not over.is_set():
            body = photographs[len(measured.upload_s) % 4] + os.urandom(8)
            began = time.perf_counter()
            answer = http.post(f"/v1/shoots/{shoot}/portraits", content=body, timeout=120)
            measured.upload_s.append(time.perf_counter() - began)
            if answer.status_code != 201:
                measured.wrong.append(answer.text[:200])
            time.sleep(1.0)


def run(requests: int) -> dict[str, Any]:
    """Measure."""
    measured, over = Measured(), threading.Event()
    with tempfile.TemporaryDirectory(prefix="evenhand-load-") as folder:
        service = Service(Path(folder) / "data")
        try:
            shoot, portrait, steps = prepare(service)
            preview(service, portrait, steps, 3, 0, Measured())  # warms the layers
            cpu = psutil.Process(service.process.pid).cpu_times()
            threads = [
                threading.Thread(
                    target=preview,
                    args=(service, portrait, steps, requests // PREVIEWERS, 1 + n, measured),
                )
                for n in range(PREVIEWERS)
            ]
            uploaders = [
                threading.Thread(target=upload, args=(service, shoot, 1 + n, over, measured))
                for n in range(UPLOADERS)
            ]
            began = time.monotonic()
            for thread in (*threads, *uploaders):
                thread.start()
            while any(thread.is_alive() for thread in threads):
                measured.memory_mb.append(service.memory_mb())
                if time.monotonic() - began > LONGEST_S:
                    break
                time.sleep(0.5)
            over.set()
            for thread in (*threads, *uploaders):
                thread.join(120)
            used = psutil.Process(service.process.pid).cpu_times()
        finally:
            service.stop()
    return summary(measured, used.user + used.system - cpu.user - cpu.system, steps)


def summary(measured: Measured, cpu_s: float, steps: list[str]) -> dict[str, Any]:
    """What was measured, and whether it is within the limits."""
    third = max(1, len(measured.memory_mb) // 3)
    early, late = max(measured.memory_mb[:third]), max(measured.memory_mb[-third:])
    p50, p95, p99 = np.percentile(measured.preview_ms, [50, 95, 99])
    return {
        "previews": len(measured.preview_ms),
        "layers of steps": steps,
        "uploads": len(measured.upload_s),
        "preview p50 ms": round(float(p50), 1),
        "preview p95 ms": round(float(p95), 1),
        "preview p99 ms": round(float(p99), 1),
        "upload median s": round(float(np.median(measured.upload_s)), 2),
        "web CPU s per preview": round(cpu_s / len(measured.preview_ms), 4),
        "memory MB": [round(measured.memory_mb[0]), round(early), round(late)],
        "wrong answers": measured.wrong[:5],
        "load average": os.getloadavg()[0],
        "within limits": bool(p95 <= P95_MS and late - early <= GROWTH_MB and not measured.wrong),
    }


@click.command()
@click.option("--requests", default=1000, show_default=True, type=click.IntRange(80, 20_000))
def main(requests: int) -> None:
    """Measure previews and memory under load."""
    found = run(requests)
    print(json.dumps(found, indent=1))
    sys.exit(0 if found["within limits"] else 1)


if __name__ == "__main__":
    main()
