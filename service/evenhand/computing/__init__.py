"""The one way through the steps: from a photograph and its people to layers inside their caps.

`settings` says what may be asked for, `computing` does it, `stopwatch` times it. Whoever computes
layers, from the command line to the service, calls `compute_layers`; nothing else applies a cap.
"""

from evenhand.computing.computing import compute_layers, strengths_of
from evenhand.computing.settings import (
    DEFAULT_STEPS,
    STEPS,
    RetouchSettings,
    StepSettings,
    settings_models,
)
from evenhand.computing.step import Step
from evenhand.computing.stopwatch import Stopwatch

__all__ = [
    "DEFAULT_STEPS",
    "STEPS",
    "RetouchSettings",
    "Step",
    "StepSettings",
    "Stopwatch",
    "compute_layers",
    "settings_models",
    "strengths_of",
]
