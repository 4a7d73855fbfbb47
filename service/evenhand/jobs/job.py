"""A job as its work sees it: progress, cancelling, and an end that happens once."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from evenhand.shoots import storage
from evenhand.shoots.database import Database
from evenhand.shoots.tables import Job, now

MOST_DEATHS = 5
"""A job during which a worker died this often is given up: it may well be what kills them."""


class Kind(StrEnum):
    """What a job does."""

    FIND = "find people"
    LAYERS = "compute layers"
    FINAL = "make final"
    DELIVERY = "pack finals"


class State(StrEnum):
    """How a job stands."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    CANCELLED = "cancelled"


OVER = (State.DONE, State.FAILED, State.CANCELLED)
"""States that a job does not leave."""


class SupersededError(Exception):
    """The job was cancelled, deleted, or taken over by another worker."""


@dataclass(frozen=True)
class Run:
    """One attempt at a job by one worker.

    Attributes
    ----------
    attempt : int
        Counts up whenever a worker begins the job; only the last attempt may end it.
    """

    database: Database
    job_id: str
    shoot_id: str
    attempt: int
    arguments: dict[str, Any]
    kind: Kind
    portrait_id: str | None

    def doing(self, what: str, progress: float) -> None:
        """Say what is being done and how far it is, 0 to 1.

        Parameters
        ----------
        what : str
            In a few words.
        progress : float
            0 to 1.

        Raises
        ------
        SupersededError
            This attempt is no longer the one that counts.
        """
        with self.database.writing() as session:
            changed = session.execute(
                update(Job)
                .where(Job.id == self.job_id, Job.attempt == self.attempt)
                .where(Job.state == State.RUNNING)
                .values(doing=what, progress=progress, waits_for="")
            )
            if changed.rowcount != 1:  # type: ignore[attr-defined]
                raise SupersededError(self.job_id)

    def waiting(self, what_for: str) -> None:
        """Say what keeps the job from going on.

        Parameters
        ----------
        what_for : str
            A sentence; the first 255 characters are kept.

        Raises
        ------
        SupersededError
            This attempt is no longer the one that counts.
        """
        with self.database.writing() as session:
            job = self._mine(session)
            job.doing, job.waits_for = f"waiting: {what_for}"[:255], what_for[:255]

    @contextmanager
    def committing(self) -> Iterator[Session]:
        """A transaction with the shoot locked, only if this attempt still counts.

        Raises
        ------
        SupersededError
            It does not.
        """
        with self.database.writing() as session:
            storage.lock(session, self.shoot_id)
            self._mine(session)
            yield session

    def end(self, session: Session, result: dict[str, Any] | None = None) -> None:
        """End the job as done, in the transaction that enters its results.

        Parameters
        ----------
        session : Session
            From `committing`.
        result : dict, optional
            Plain values, for whoever asks for the job.

        Raises
        ------
        SupersededError
            This attempt is no longer the one that counts.
        """
        job = self._mine(session)
        job.state, job.progress, job.doing, job.result = State.DONE, 1.0, "", result or {}
        job.waits_for = ""
        job.finished_at = now()

    def fail(self, trouble: str, advice: str) -> None:
        """End the job as failed.

        Parameters
        ----------
        trouble, advice : str
            What went wrong, and what to do.

        Raises
        ------
        SupersededError
            This attempt is no longer the one that counts.
        """
        with self.database.writing() as session:
            job = self._mine(session)
            job.state, job.doing, job.waits_for = State.FAILED, "", ""
            job.trouble, job.advice, job.finished_at = trouble, advice, now()

    def _mine(self, session: Session) -> Job:
        job = session.scalars(select(Job).where(Job.id == self.job_id).with_for_update()).first()
        if job is None or job.attempt != self.attempt or job.state != State.RUNNING:
            raise SupersededError(self.job_id)
        return job


def begin(database: Database, job_id: str) -> Run | None:
    """Begin a job, or begin it again; None where there is nothing left to do.

    A job whose workers ended `MOST_DEATHS` times while doing it is ended as failed.

    Parameters
    ----------
    database : Database
    job_id : str

    Returns
    -------
    Run or None
        The attempt that counts from now on.
    """
    with database.writing() as session:
        job = session.scalars(select(Job).where(Job.id == job_id).with_for_update()).first()
        if job is None or job.state in OVER:
            return None
        if job.state == State.RUNNING and not job.waits_for:
            job.deaths += 1
        if job.deaths >= MOST_DEATHS:
            job.state, job.finished_at = State.FAILED, now()
            job.trouble = f"{MOST_DEATHS} workers ended while doing this."
            job.advice = "Look at the workers' logs, then try again."
            return None
        job.attempt, job.waits_for = job.attempt + 1, ""
        job.state, job.started_at = State.RUNNING, job.started_at or now()
        return Run(
            database,
            job.id,
            job.shoot_id,
            job.attempt,
            dict(job.arguments),
            Kind(job.kind),
            job.portrait_id,
        )
