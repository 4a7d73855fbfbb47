"""Fixtures shared by the tests of records, jobs and the web."""

from tests.jobs.fixtures import *  # noqa: F403
