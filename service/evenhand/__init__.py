"""Evenhand: a restrained first-pass skin retouch, every change in a layer that can be taken off.

Everything the package offers is loaded on first use, so that importing it costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from evenhand.report import Report as Report
    from evenhand.retouching import RetouchSettings as RetouchSettings
    from evenhand.retouching import blend as blend
    from evenhand.retouching import masks as masks
    from evenhand.retouching import retouch as retouch
    from evenhand.retouching import revert as revert

__version__ = "0.1.0"

__all__ = ["Report", "RetouchSettings", "blend", "masks", "retouch", "revert"]

_HOMES = {
    "Report": "evenhand.report",
    "RetouchSettings": "evenhand.retouching",
    "blend": "evenhand.retouching",
    "masks": "evenhand.retouching",
    "retouch": "evenhand.retouching",
    "revert": "evenhand.retouching",
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
