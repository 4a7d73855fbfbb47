"""Traces reach a collector that the operator names, as OTLP/HTTP in JSON says, and no other."""

from __future__ import annotations

import gzip
import json
import os
import subprocess
import sys
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest

PROGRAM = """
import sys
from pathlib import Path
from fastapi.testclient import TestClient
from opentelemetry import trace
from evenhand.jobs.place import Place, addresses_in
from evenhand.web import traces
from evenhand.web.app import create_app
from evenhand.web.settings import ServiceSettings

sent = traces.configure()
place = Place.at(*addresses_in(Path(sys.argv[1])))
with TestClient(create_app(place, ServiceSettings())) as http:
    http.get("/v1/shoots", headers={"Authorization": "Bearer unmistakable-secret"})
if sent:
    trace.get_tracer_provider().force_flush()
print(sent)
"""


def traced(folder: Path, **environment: str) -> str:
    """Ask the service once in a process of its own; gives what it printed."""
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(folder)],
        env=os.environ | environment, capture_output=True, text=True, timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout.split()[-1]


def test_no_collector_no_traces(tmp_path: Path) -> None:
    assert traced(tmp_path) == "False"


def test_spans_reach_the_collector_without_secrets(tmp_path: Path) -> None:
    pytest.importorskip("opentelemetry.exporter.otlp.json.http")
    got: list[Any] = []

    class Collector(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            if self.headers.get("Content-Encoding") == "gzip":
                body = gzip.decompress(body)
            got.append((self.path, json.loads(body)))
            self.send_response(200)
            self.end_headers()
            self.wfile.write(b"{}")

        def log_message(self, *_: Any) -> None:
            pass

    collector = HTTPServer(("127.0.0.1", 0), Collector)
    threading.Thread(target=collector.serve_forever, daemon=True).start()
    address = f"http://127.0.0.1:{collector.server_port}"
    assert traced(tmp_path, OTEL_EXPORTER_OTLP_ENDPOINT=address) == "True"
    collector.shutdown()
    assert got
    path, body = got[0]
    assert path == "/v1/traces"
    spans = [
        span
        for resource in body["resourceSpans"]
        for scope in resource["scopeSpans"]
        for span in scope["spans"]
    ]
    assert any("/v1/shoots" in span["name"] for span in spans)
    assert "unmistakable-secret" not in json.dumps(got)
