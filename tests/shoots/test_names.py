"""Names of finals: from a pattern, safe on every system, never a path."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import WrongSettingError
from evenhand.shoots.names import base, file_name, safe


def test_a_pattern_is_filled() -> None:
    name = file_name("{shoot}-{number}-{portrait}", shoot="Regatta 1", portrait="a.jpg", number=7)
    assert name == "Regatta-1-007-a"


@pytest.mark.parametrize("pattern", ["", "  ", "{other}", "{", "a}", "{shoot.__class__}", "{0}"])
def test_a_pattern_that_cannot_be_used_is_refused(pattern: str) -> None:
    with pytest.raises(WrongSettingError):
        file_name(pattern, shoot="s", portrait="p", number=1)


@given(st.text(max_size=300), st.text(max_size=300))
def test_a_name_is_never_a_path(shoot: str, portrait: str) -> None:
    name = file_name("{shoot}{portrait}", shoot=shoot, portrait=portrait, number=1)
    assert name == safe(name)
    assert 0 < len(name) <= 120
    assert not set(name) & set('/\\:*?"<>|\0')
    assert not name.startswith((".", "-"))


@given(st.text(max_size=300))
def test_a_shown_name_is_one_line_without_folders(name: str) -> None:
    shown = base(name)
    assert shown
    assert "/" not in shown
    assert "\\" not in shown
    assert shown.isprintable() or " " in shown or any(c.isspace() for c in shown)


def test_a_name_fits_a_file_system_in_bytes() -> None:
    """120 characters of three bytes each; 255 bytes are allowed (POSIX's NAME_MAX on Linux)."""
    name = file_name("{shoot}-{number}", shoot="\u6f22" * 120, portrait="a", number=1)
    assert len(f"{name}-2.tiff".encode()) <= 255
    assert name.startswith("\u6f22" * 50)
