"""What Prometheus is told: requests, jobs, workers, memory."""

from __future__ import annotations

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, ProcessCollector
from sqlalchemy import func, select

from evenhand.jobs.job import State
from evenhand.shoots.database import Database
from evenhand.shoots.files import Files
from evenhand.shoots.tables import Job, Worker

REGISTRY = CollectorRegistry()
"""All measures of this process."""

ProcessCollector(registry=REGISTRY)

REQUESTS = Counter(
    "evenhand_requests_total",
    "Requests answered.",
    ("method", "route", "status"),
    registry=REGISTRY,
)
SECONDS = Histogram(
    "evenhand_request_seconds",
    "Time to answer.",
    ("route",),
    registry=REGISTRY,
    buckets=(0.01, 0.025, 0.05, 0.1, 0.15, 0.25, 0.5, 1, 2.5, 5, 10),
)
JOBS = Gauge("evenhand_jobs", "Jobs by state.", ("state",), registry=REGISTRY)
WORKERS = Gauge("evenhand_workers", "Workers that said lately that they live.", registry=REGISTRY)


FREE = Gauge("evenhand_free_bytes", "Bytes free on the disk of the files.", registry=REGISTRY)


def measure_space(files: Files) -> None:
    """Measure the disk anew.

    Parameters
    ----------
    files : Files
        Nothing is measured where they lie on no disk of this machine.
    """
    free = files.free()
    if free is not None:
        FREE.set(free)


def count_jobs(database: Database) -> None:
    """Count jobs and workers anew.

    Parameters
    ----------
    database : Database
    """
    with database.reading() as session:
        counted = dict(session.execute(select(Job.state, func.count()).group_by(Job.state)).all())
        workers = session.scalar(select(func.count()).select_from(Worker)) or 0
    for state in State:
        JOBS.labels(state.value).set(counted.get(state.value, 0))
    WORKERS.set(workers)
