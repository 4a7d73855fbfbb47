"""Networks of our own: their weights read from the package, checked, and loaded once."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files
from typing import Any

import cv2
import numpy as np

from evenhand.errors import MissingNetworkError


@cache
def network_of(folder: str, file: str) -> Any:
    """The network of an ONNX file in a folder of ``models``, whose checksum lies beside it.

    Parameters
    ----------
    folder : str
        Of `models`.
    file : str
        Ends with .onnx.

    Returns
    -------
    cv2.dnn.Net

    Raises
    ------
    MissingNetworkError
        If the weights are absent or damaged.
    """
    path = files("evenhand") / "models" / folder
    try:
        weights = (path / file).read_bytes()
        expected = (path / f"{file}.sha256").read_text().split()[0]
    except OSError as error:
        raise MissingNetworkError(
            f"The weights {file} cannot be read ({error}).",
            "Install Evenhand again; its wheel carries them.",
        ) from error
    if hashlib.sha256(weights).hexdigest() != expected:
        raise MissingNetworkError(
            f"The weights {file} are damaged: their checksum is wrong.",
            "Install Evenhand again; its wheel carries them.",
        )
    return cv2.dnn.readNetFromONNX(np.frombuffer(weights, np.uint8))
