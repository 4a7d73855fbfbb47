"""The report of a portrait: its fields (`model`), what fills them, what is said in words.

Whoever reads reports imports from here; `filling` looks at photographs and layers and is imported
by itself.
"""

from evenhand.report.model import (
    NOTICES,
    SHORT_NOTICE,
    Area,
    BoxReport,
    Difference,
    FileReport,
    LayerReport,
    Model,
    PersonReport,
    Report,
    Stage,
)

__all__ = [
    "NOTICES",
    "SHORT_NOTICE",
    "Area",
    "BoxReport",
    "Difference",
    "FileReport",
    "LayerReport",
    "Model",
    "PersonReport",
    "Report",
    "Stage",
]
