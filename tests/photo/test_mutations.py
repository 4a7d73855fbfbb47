"""A small sample of the damaged files; ``python -m tests.photo.mutations`` reads thousands."""

from __future__ import annotations

from tests.photo.mutations import outcomes


def test_damaged_files_are_read_or_refused() -> None:
    failures = [o for o in outcomes(240, seed=7) if o.verdict not in ("read", "refused")]
    assert not failures
