"""Evenhand: a restrained first-pass skin retouch, every change in a layer that can be taken off.

Everything the package offers is loaded on first use, so that importing it costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from evenhand.box import Box as Box
    from evenhand.computing import STEPS as STEPS
    from evenhand.computing import RetouchSettings as RetouchSettings
    from evenhand.computing import Step as Step
    from evenhand.computing import StepSettings as StepSettings
    from evenhand.computing import Stopwatch as Stopwatch
    from evenhand.computing import compute_layers as compute_layers
    from evenhand.computing import strengths_of as strengths_of
    from evenhand.errors import BrokenLayersError as BrokenLayersError
    from evenhand.errors import EvenhandError as EvenhandError
    from evenhand.errors import MissingNetworkError as MissingNetworkError
    from evenhand.errors import NotWrittenError as NotWrittenError
    from evenhand.errors import PhotographTooLargeError as PhotographTooLargeError
    from evenhand.errors import UnreadablePhotographError as UnreadablePhotographError
    from evenhand.errors import UnsupportedPhotographError as UnsupportedPhotographError
    from evenhand.errors import WrongPhotographError as WrongPhotographError
    from evenhand.errors import WrongSettingError as WrongSettingError
    from evenhand.layers import Layer as Layer
    from evenhand.layers import LayerSet as LayerSet
    from evenhand.layers import blend as blend
    from evenhand.layers import load as load_layers  # noqa: F401
    from evenhand.layers import save as save_layers  # noqa: F401
    from evenhand.layers import unblend as unblend
    from evenhand.people.finding import PeopleSettings as PeopleSettings
    from evenhand.people.finding import find_people as find_people
    from evenhand.people.person import Mask as Mask
    from evenhand.people.person import Person as Person
    from evenhand.people.person import Region as Region
    from evenhand.people.person import mask_arrays as mask_arrays
    from evenhand.photo import Photograph as Photograph
    from evenhand.photo import from_array as from_array
    from evenhand.photo import read as read
    from evenhand.photo import write as write
    from evenhand.photo import write_picture as write_picture
    from evenhand.photo.credentials import Certificate as Certificate
    from evenhand.photo.credentials import read_certificate as read_certificate
    from evenhand.report import Report as Report
    from evenhand.retouching.mask_files import masks as masks
    from evenhand.retouching.portrait import retouch as retouch
    from evenhand.retouching.stored_layers import Reverted as Reverted
    from evenhand.retouching.stored_layers import blend_stored as blend_stored
    from evenhand.retouching.stored_layers import hand_off as hand_off
    from evenhand.retouching.stored_layers import revert as revert
    from evenhand.retouching.tone_matching import ToneReport as ToneReport
    from evenhand.retouching.tone_matching import match_tone as match_tone
    from evenhand.steps.eyes import EyesSettings as EyesSettings
    from evenhand.steps.eyes import eyes as eyes
    from evenhand.steps.gain import Gain as Gain
    from evenhand.steps.marks import MarksSettings as MarksSettings
    from evenhand.steps.marks import marks as marks
    from evenhand.steps.patch import Change as Change
    from evenhand.steps.patch import SkinPatch as SkinPatch
    from evenhand.steps.patch import patch_of as patch_of
    from evenhand.steps.redness import RednessSettings as RednessSettings
    from evenhand.steps.redness import redness as redness
    from evenhand.steps.smoothing import SmoothingSettings as SmoothingSettings
    from evenhand.steps.smoothing import smoothing as smoothing
    from evenhand.steps.tone import ToneSettings as ToneSettings

__version__ = "0.1.0"

_HOMES = {
    "box": ("Box",),
    "computing": (
        "RetouchSettings", "STEPS", "Step", "StepSettings", "Stopwatch", "compute_layers",
        "strengths_of",
    ),
    "errors": (
        "BrokenLayersError", "EvenhandError", "MissingNetworkError", "NotWrittenError",
        "PhotographTooLargeError", "UnreadablePhotographError", "UnsupportedPhotographError",
        "WrongPhotographError", "WrongSettingError",
    ),
    "layers": ("Layer", "LayerSet", "blend", "unblend"),
    "retouching.mask_files": ("masks",),
    "people.finding": ("PeopleSettings", "find_people"),
    "people.person": ("Mask", "Person", "Region", "mask_arrays"),
    "photo": ("Photograph", "from_array", "read", "write", "write_picture"),
    "photo.credentials": ("Certificate", "read_certificate"),
    "report": ("Report",),
    "retouching.portrait": ("retouch",),
    "steps.eyes": ("EyesSettings", "eyes"),
    "steps.gain": ("Gain",),
    "steps.marks": ("MarksSettings", "marks"),
    "steps.patch": ("Change", "SkinPatch", "patch_of"),
    "steps.redness": ("RednessSettings", "redness"),
    "steps.smoothing": ("SmoothingSettings", "smoothing"),
    "steps.tone": ("ToneSettings",),
    "retouching.stored_layers": ("Reverted", "blend_stored", "hand_off", "revert"),
    "retouching.tone_matching": ("ToneReport", "match_tone"),
}  # fmt: skip
# Public names by the module where each lives.

_NAMES = {
    **{name: (home, name) for home, names in _HOMES.items() for name in names},
    "load_layers": ("layers", "load"),
    "save_layers": ("layers", "save"),
}
# Module and name there of each public name.

__all__ = list(_NAMES)


def __getattr__(name: str) -> Any:
    """Load a public name on first use."""
    if name not in _NAMES:
        raise AttributeError(f"module 'evenhand' has no attribute {name!r}")
    home, there = home_of(name)
    return getattr(import_module(f"evenhand.{home}"), there)


def home_of(name: str) -> tuple[str, str]:
    """Module of the package in which a public name is defined, and its name there.

    Parameters
    ----------
    name : str
        One of `evenhand.__all__`.

    Returns
    -------
    module, name : str
        The module as a path below `evenhand`, and what it calls the object.

    Raises
    ------
    KeyError
        The name is not public.
    """
    return _NAMES[name]


def __dir__() -> list[str]:
    """Names of the package, those not loaded yet included."""
    return sorted({*globals(), *__all__})
