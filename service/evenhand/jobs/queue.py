"""The durable queue: jobs and their runs are entered in one transaction and never lost.

DBOS keeps the runs in the records' own database. A worker says every few seconds that it lives;
the runs of one that no longer does go back to the queue, where exactly one other takes each.
"""

from __future__ import annotations

import platform
import secrets
import threading
import time
from contextlib import suppress
from datetime import datetime
from typing import Any

import structlog
from dbos import DBOS, DBOSClient, DBOSConfig
from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from evenhand.jobs.guarded_reading import READER
from evenhand.jobs.job import OVER, Kind, State
from evenhand.jobs.place import Place
from evenhand.jobs.tidying import fail_lost_jobs, forget_old_runs, tidy
from evenhand.jobs.work import do
from evenhand.shoots import storage
from evenhand.shoots.database import Database
from evenhand.shoots.errors import ConflictError, NotFoundError
from evenhand.shoots.files import LEAST_FREE
from evenhand.shoots.outages import AWAY
from evenhand.shoots.tables import Job, Worker, now

QUEUE = "evenhand"
"""Name of the queue."""

VERSION = "1"
"""Of the work. Fixed, so that what an older Evenhand began is taken up by a newer one."""

RUN = "job"
"""Name of the durable run."""

ALIVE_EVERY_S = 2.0
"""How often a worker says that it lives, seconds."""

EMPTYING_MS = 50
"""How long emptying the log may keep others from writing, milliseconds; it is tried again."""

DEAD_AFTER_S = 15.0
"""A worker silent for so long is taken for dead and its work handed over, seconds."""

LOOK_EVERY_S = 0.5
"""How often a worker looks for waiting jobs, seconds."""

TIDY_AT = "17 * * * *"
"""When leftovers are looked for: once an hour."""

TRIES = 10
"""How often a run is begun again while the database is away; the waits double up to a minute."""

log = structlog.get_logger()


class Queue:
    """Enters jobs and cancels them; runs nothing itself.

    Parameters
    ----------
    database : Database
        The records; the durable runs lie beside them.
    """

    def __init__(self, database: Database) -> None:
        self.database = database
        prepare(database)
        self.client = DBOSClient(
            system_database_url=database.address,
            application_name=QUEUE,
            lazy=True,
            retry_connection_errors=False,
        )

    def add(
        self,
        session: Session,
        kind: Kind,
        shoot_id: str,
        portrait_id: str | None = None,
        **arguments: Any,
    ) -> Job:
        """Enter a job in the transaction of what it follows from.

        A job that waits to do the very same is given instead of a second one.

        Parameters
        ----------
        session : Session
            Of the transaction.
        kind : Kind
        shoot_id : str
        portrait_id : str, optional
            None where the work is on the whole shoot.
        **arguments
            Plain values that the work needs.

        Returns
        -------
        Job
            Waiting.

        Raises
        ------
        NotFoundError
            There is no such shoot, or it is being deleted.
        """
        storage.lock(session, shoot_id)
        waiting = session.scalars(
            select(Job).where(
                Job.shoot_id == shoot_id,
                Job.portrait_id == portrait_id,
                Job.kind == kind,
                Job.state == State.WAITING,
            )
        )
        for job in waiting:
            if job.arguments == arguments:
                return job
        job = Job(
            shoot_id=shoot_id,
            portrait_id=portrait_id,
            kind=kind.value,
            arguments=arguments,
            state=State.WAITING.value,
        )
        session.add(job)
        session.flush()
        self._enter(session, job)
        return job

    def cancel(self, session: Session, job_id: str) -> Job:
        """Cancel a job that is not over; what it has not entered yet never will be.

        Parameters
        ----------
        session : Session
        job_id : str

        Returns
        -------
        Job

        Raises
        ------
        ConflictError
            It is over.
        NotFoundError
            There is no such job.
        """
        job = _locked(session, job_id)
        if job.state in OVER:
            raise ConflictError(f"The job is {job.state} already.", "There is nothing to cancel.")
        job.state, job.doing, job.finished_at = State.CANCELLED.value, "", now()
        return job

    def retry(self, session: Session, job_id: str) -> Job:
        """Enter a failed or cancelled job again, as a job of its own.

        Parameters
        ----------
        session : Session
        job_id : str

        Returns
        -------
        Job
            The new one.

        Raises
        ------
        ConflictError
            It is done, or not over yet.
        NotFoundError
            There is no such job, or its shoot is gone.
        """
        known = session.get(Job, job_id)
        if known is not None:
            storage.lock(session, known.shoot_id)
        job = _locked(session, job_id)
        if job.state not in (State.FAILED, State.CANCELLED):
            raise ConflictError(
                f"The job is {job.state}.", "Only a failed or cancelled job can be tried again."
            )
        return self.add(session, Kind(job.kind), job.shoot_id, job.portrait_id, **job.arguments)

    def readmit(self, session: Session) -> int:
        """Enter runs for jobs that have none, after a restore; gives how many.

        Parameters
        ----------
        session : Session

        Returns
        -------
        int
        """
        jobs = session.scalars(select(Job).where(Job.state.not_in(OVER))).all()
        for job in jobs:
            job.state, job.attempt, job.deaths = State.WAITING.value, 0, 0
            self._enter(session, job)
        return len(jobs)

    def close(self) -> None:
        """Close the connections."""
        self.client.destroy()

    def _enter(self, session: Session, job: Job) -> None:
        self.client.enqueue_in_transaction(
            session,
            {
                "queue_name": QUEUE,
                "workflow_name": RUN,
                "workflow_id": job.id,
                "app_version": VERSION,
            },
            job.id,
        )


class JobWorker:
    """A process's share in the work. There can be one in a process.

    Parameters
    ----------
    place : Place
        Records, files and the retoucher.
    at_once : int
        Jobs done at the same time in this process.
    """

    def __init__(self, place: Place, at_once: int = 1) -> None:
        self.place = place
        self.at_once = at_once
        self.id = f"{platform.node()}-{secrets.token_hex(6)}"[:64]
        self.stopping = threading.Event()
        self.begun: set[str] = set()
        self.watch = Watch()
        self.heart = threading.Thread(target=self._live, name="heart", daemon=True)

    def start(self) -> None:
        """Begin to take jobs."""
        prepare(self.place.database)
        with self.place.database.writing() as session:
            self._say_alive(session)
        config = DBOSConfig(
            name=QUEUE,
            system_database_url=self.place.database.address,
            application_version=VERSION,
            executor_id=self.id,
            log_level="WARNING",
            enable_otlp=False,
        )
        DBOS(config=config)
        self._register()
        DBOS.launch()
        DBOS.register_queue(
            QUEUE,
            worker_concurrency=self.at_once,
            polling_interval_sec=LOOK_EVERY_S,
            on_conflict="always_update",
        )
        DBOS.apply_schedules(
            [{"schedule_name": "tidy", "workflow_fn": self._tidy_run, "schedule": TIDY_AT}]
        )
        with suppress(*AWAY):
            tidy(self.place)  # what was left behind by whoever was here before
        self.heart.start()
        log.info("worker started", worker=self.id)

    def stop(self, wait_s: int = 60) -> bool:
        """Take no more jobs, finish those begun, and leave; gives whether all were finished.

        Where one waits longer, for a disk with space or for the records, the worker stays entered,
        falls silent, and its work is handed over; the process has to end.

        Parameters
        ----------
        wait_s : int
            Seconds for the jobs that have begun.

        Returns
        -------
        bool
        """
        self.stopping.set()
        DBOS.destroy(workflow_completion_timeout_sec=wait_s)
        READER.close()
        self.heart.join(timeout=ALIVE_EVERY_S * 2)
        if self.begun:
            log.warning("worker stopped with work to hand over", worker=self.id)
            return False
        with suppress(*AWAY), self.place.database.writing() as session:
            session.execute(delete(Worker).where(Worker.id == self.id))
        log.info("worker stopped", worker=self.id)
        return True

    def _register(self) -> None:
        place = self.place

        @DBOS.step(
            name="do",
            retries_allowed=True,
            interval_seconds=1.0,
            backoff_rate=2.0,
            max_attempts=TRIES,
            should_retry=lambda error: isinstance(error, AWAY),
        )
        def step(job_id: str) -> None:
            self.begun.add(job_id)
            try:
                do(place, job_id)
            finally:
                self.begun.discard(job_id)

        @DBOS.workflow(name=RUN, max_recovery_attempts=100)
        def run(job_id: str) -> None:
            step(job_id)

        @DBOS.step(name="tidy step")
        def tidy_step() -> None:
            lost, forgotten = fail_lost_jobs(place), forget_old_runs()
            log.info("tidied", lost=lost, forgotten=forgotten, **tidy(place))

        @DBOS.workflow(name="tidy")
        def tidy_run(at: datetime, context: Any) -> None:
            tidy_step()

        self._tidy_run, self._run = tidy_run, run

    def _live(self) -> None:
        """Say that this worker lives, hand over the work of those that do not, watch the disk."""
        told_full = False
        while not self.stopping.is_set():
            try:
                with self.place.database.writing() as session:
                    self._say_alive(session)
                self.place.database.empty_log(EMPTYING_MS)
                hand_over(self.place.database, self.watch, by=self.id)
                free = self.place.files.free()
                full = free is not None and free < LEAST_FREE
                if full and not told_full:
                    log.warning("the disk is nearly full", free_bytes=free)
                told_full = full
            except AWAY as error:
                log.warning("the records do not answer", worker=self.id, error=str(error))
            self.stopping.wait(ALIVE_EVERY_S)

    def _say_alive(self, session: Session) -> None:
        at = self.place.database.now(session)
        worker = session.get(Worker, self.id)
        if worker is None:
            session.add(Worker(id=self.id, host=platform.node(), started_at=at, seen_at=at))
        else:
            worker.seen_at = at


class Watch:
    """Watches workers by this process's own clock, which nobody sets."""

    def __init__(self) -> None:
        self.last: dict[str, tuple[datetime, float]] = {}
        self.looked = time.monotonic()

    def silent(self, seen: dict[str, datetime]) -> list[str]:
        """Workers whose last word has been the same for `DEAD_AFTER_S`; `seen` is when it was.

        Parameters
        ----------
        seen : dict of str to datetime
            The last word of every worker that is entered.

        Returns
        -------
        list of str
            None after this process was held up itself.
        """
        at = time.monotonic()
        if at - self.looked > DEAD_AFTER_S / 2:
            self.last = {}  # this process was held up itself, and so may the others have been
        self.looked = at
        self.last = {
            worker: (word, self.last[worker][1] if self._same(worker, word) else at)
            for worker, word in seen.items()
        }
        return [worker for worker, (_, since) in self.last.items() if at - since > DEAD_AFTER_S]

    def _same(self, worker: str, word: datetime) -> bool:
        return worker in self.last and self.last[worker][0] == word


def hand_over(database: Database, watch: Watch, by: str) -> list[str]:
    """Put the runs of workers that fell silent back into the queue; gives the workers' names.

    The worker that does it, `by`, is none of them, however long the records made it wait. Each is
    given back once: the run's worker is compared and set in one statement, so any number of workers
    may hand over the same ones at the same time.

    Parameters
    ----------
    database : Database
    watch : Watch
        What this worker remembers of the others.
    by : str

    Returns
    -------
    list of str
    """
    with database.reading() as session:
        rows = session.execute(select(Worker.id, Worker.seen_at).where(Worker.id != by)).all()
    silent = watch.silent({worker: seen_at for worker, seen_at in rows})
    if silent:
        DBOS._recover_pending_workflows(silent)  # no public name for it in dbos 3.4
        with database.writing() as session:
            session.execute(delete(Worker).where(Worker.id.in_(silent)))
        log.warning("work handed over", workers=silent)
    return silent


def prepare(database: Database) -> None:
    """Create or upgrade the tables of the durable runs.

    Parameters
    ----------
    database : Database
    """
    DBOS.migrate(database.address)


def _locked(session: Session, job_id: str) -> Job:
    job = session.scalars(select(Job).where(Job.id == job_id).with_for_update()).first()
    if job is None:
        raise NotFoundError("There is no such job.", "List the jobs to see which there are.")
    return job
