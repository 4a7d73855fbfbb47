"""OpenTelemetry traces, off unless the operator names a collector.

``evenhand[traces]`` brings what speaks to it. They hold routes, identifiers and times; no pictures,
names or tokens.
"""

from __future__ import annotations

import os

from evenhand.errors import WrongSettingError

ENDPOINTS = ("OTEL_EXPORTER_OTLP_TRACES_ENDPOINT", "OTEL_EXPORTER_OTLP_ENDPOINT")
"""OpenTelemetry's own variables for the collector's address."""


def configure() -> bool:
    """Send spans to the collector that the environment names; gives whether there is one.

    Raises
    ------
    WrongSettingError
        A collector is named, but the packages that speak to it are not installed.
    """
    if not any(os.environ.get(name) for name in ENDPOINTS):
        return False
    try:
        from opentelemetry import trace
        from opentelemetry.exporter.otlp.json.http.trace_exporter import OTLPSpanExporter
        from opentelemetry.sdk.resources import Resource
        from opentelemetry.sdk.trace import TracerProvider
        from opentelemetry.sdk.trace.export import BatchSpanProcessor
    except ImportError:
        raise WrongSettingError(
            "A collector of traces is named, but nothing installed can speak to it.",
            "Install evenhand[traces], or unset " + " and ".join(ENDPOINTS) + ".",
        ) from None
    provider = TracerProvider(resource=Resource.create({"service.name": "evenhand"}))
    provider.add_span_processor(BatchSpanProcessor(OTLPSpanExporter()))
    trace.set_tracer_provider(provider)
    return True
