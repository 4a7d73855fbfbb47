"""What tests of more than one package need."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings

from tests.pictures import person_in

# The same examples in every run, however slow the machine; another search is
# `pytest --hypothesis-profile=default`.
settings.register_profile(
    "steady",
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("steady")


@pytest.fixture
def known_people(monkeypatch: pytest.MonkeyPatch) -> None:
    """The made-up person is found in every photograph."""
    for module in ("retouching.portrait", "retouching.tone_matching", "retouching.mask_files"):
        monkeypatch.setattr(
            f"evenhand.{module}.find_people",
            lambda photograph, *_, **__: [person_in(*photograph.shape)],
        )
    monkeypatch.setattr("evenhand.retouching.batch.available", lambda: 1)
