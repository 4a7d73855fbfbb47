"""Evenhand: a restrained first-pass skin retouch, every change in a layer that can be taken off.

Everything the package offers is loaded on first use, so that importing it costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from evenhand.mask_files import masks as masks
    from evenhand.report import Report as Report
    from evenhand.retouching import RetouchSettings as RetouchSettings
    from evenhand.retouching import retouch as retouch
    from evenhand.stored_layers import blend as blend
    from evenhand.stored_layers import hand_off as hand_off
    from evenhand.stored_layers import revert as revert
    from evenhand.tone_matching import match_tone as match_tone

__version__ = "0.1.0"

__all__ = [
    "Report",
    "RetouchSettings",
    "blend",
    "hand_off",
    "masks",
    "match_tone",
    "retouch",
    "revert",
]

_HOMES = {
    "Report": "evenhand.report",
    "RetouchSettings": "evenhand.retouching",
    "blend": "evenhand.stored_layers",
    "hand_off": "evenhand.stored_layers",
    "masks": "evenhand.mask_files",
    "match_tone": "evenhand.tone_matching",
    "retouch": "evenhand.retouching",
    "revert": "evenhand.stored_layers",
}
# Where each public name lives.


def __getattr__(name: str) -> Any:
    """Load a public name on first use."""
    if name not in _HOMES:
        raise AttributeError(f"module 'evenhand' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    """Names of the package, those not loaded yet included."""
    return sorted({*globals(), *__all__})
