"""A web process with the plain retoucher, for tests that kill it.

Usage: python -m tests.jobs.plain_web RECORDS FILES PORT [OPEN_FILES]

With a number of open files it is allowed no more than these.
"""

from __future__ import annotations

import resource
import sys
import time

import uvicorn
from sqlalchemy.exc import DBAPIError

from evenhand.jobs.place import Place
from evenhand.web import logs
from evenhand.web.app import create_app
from evenhand.web.serving import Listening, config_of
from evenhand.web.settings import ServiceSettings
from tests.jobs.plain_retoucher import Plain
from tests.jobs.shifted_clock import set_clock


def main() -> None:
    """Serve on 127.0.0.1 until killed."""
    records, files, port, *open_files = sys.argv[1:]
    if open_files:
        resource.setrlimit(resource.RLIMIT_NOFILE, (int(open_files[0]), int(open_files[0])))
    logs.configure()
    set_clock()
    settings = ServiceSettings(requests_per_minute=100_000)
    for _ in range(100):
        try:
            app = create_app(Place.at(records, files, Plain()), settings)
            break
        except DBAPIError:
            time.sleep(0.3)
    uvicorn.Server(config_of(app, settings, Listening("127.0.0.1", int(port)))).run(
        [Listening("127.0.0.1", int(port)).opened()]
    )


if __name__ == "__main__":
    main()
