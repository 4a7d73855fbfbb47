"""A web process with the plain retoucher, for tests that kill it.

Usage: python -m tests.jobs.plain_web RECORDS FILES PORT
"""

from __future__ import annotations

import sys
import time

import uvicorn
from sqlalchemy.exc import DBAPIError

from evenhand.jobs.place import Place
from evenhand.web.app import create_app
from evenhand.web.settings import ServiceSettings
from tests.jobs.plain_retoucher import Plain


def main() -> None:
    """Serve on 127.0.0.1 until killed."""
    records, files, port = sys.argv[1:]
    settings = ServiceSettings(requests_per_minute=100_000)
    for _ in range(100):
        try:
            app = create_app(Place.at(records, files, Plain()), settings)
            break
        except DBAPIError:
            time.sleep(0.3)
    uvicorn.run(app, host="127.0.0.1", port=int(port), log_level="error")


if __name__ == "__main__":
    main()
