"""Readers of the published tables beside the tests."""

import csv
from pathlib import Path

import numpy as np


def columns(name: str, *wanted: str) -> list[np.ndarray]:
    """Columns of a table as arrays of float64."""
    with (Path(__file__).parent / name).open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return [np.array([float(row[column]) for row in rows]) for column in wanted]
