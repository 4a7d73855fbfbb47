"""Time by stage, for the report."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from evenhand.report import Stage


@dataclass
class Stopwatch:
    """Time by stage; stages that run at the same time count each other's CPU.

    Attributes
    ----------
    stages : list of Stage
        In the order in which they ended.

    Examples
    --------
    >>> clock = Stopwatch()
    >>> with clock("read"):
    ...     pass
    >>> [stage.name for stage in clock.stages]
    ['read']
    """

    stages: list[Stage] = field(default_factory=list)

    @property
    def total(self) -> float:
        """Seconds of all stages together."""
        return sum(stage.seconds for stage in self.stages)

    @contextmanager
    def __call__(self, name: str) -> Iterator[None]:
        """Time the block as stage `name`."""
        wall, cpu = time.perf_counter(), time.process_time()
        yield
        stage = Stage(
            name=name,
            seconds=round(time.perf_counter() - wall, 5),
            cpu_seconds=round(time.process_time() - cpu, 5),
        )
        self.stages.append(stage)
