"""What tests of more than one package need."""

from __future__ import annotations

import pytest

from tests.pictures import person_in


@pytest.fixture
def known_people(monkeypatch: pytest.MonkeyPatch) -> None:
    """The made-up person is found in every photograph."""
    for module in ("retouching", "tone_matching"):
        monkeypatch.setattr(
            f"evenhand.{module}.find_people",
            lambda photograph, *_, **__: [person_in(*photograph.shape)],
        )
    monkeypatch.setattr("evenhand.batch.available", lambda: 1)
