"""The networks carried by the mediapipe wheel: loaded late, kept warm, one set for each thread.

All of them take 8-bit RGB pictures of any size and shrink them to their own input size; give them
crops, never a whole large photograph.
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from types import ModuleType
from typing import Any

import numpy as np
import numpy.typing as npt

Picture = npt.NDArray[np.uint8]
Points = npt.NDArray[np.float32]

DETECTION_CONFIDENCE = 0.5
"""Least score of a detected face; the networks' own default."""

MESH_CONFIDENCE = 0.3
"""Least score of the detector in front of the face mesh: the crop is known to hold a head."""

DRAWING = tuple(f"mediapipe.python.solutions.drawing_{part}" for part in ("styles", "utils"))
"""Modules that nothing here needs."""

NOISE = re.compile(rb"[IW]\d{4} |INFO: Created TensorFlow Lite|WARNING: All log messages before")
"""Start-up lines of the networks' C++ log that tell a user nothing."""


@dataclass(frozen=True)
class Detection:
    """A face as the detector gives it, in pixels of the picture it was given.

    Attributes
    ----------
    left, top, width, height : float
        The square around eyes, nose and mouth.
    points : ndarray of float32, shape (6, 2)
        Right eye, left eye, nose tip, mouth, right ear, left ear (column, row), the person's own
        right and left.
    score : float
        In [0, 1].
    """

    left: float
    top: float
    width: float
    height: float
    points: Points
    score: float


def detect_near(picture: Picture) -> list[Detection]:
    """Faces that take 13 to 100 % of the picture's side, frontal to profile.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        sRGB.

    Returns
    -------
    list of Detection
    """
    return _detections(_run("near", picture), picture)


def detect_far(picture: Picture) -> list[Detection]:
    """Faces that take 6 to 40 % of the picture's side, mostly frontal.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        sRGB.

    Returns
    -------
    list of Detection
    """
    return _detections(_run("far", picture), picture)


def face_mesh(picture: Picture) -> Points | None:
    """The 478 points of the face mesh with irises as (column, row, depth) in pixels, or None.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        sRGB, an upright face that fills about half of it.

    Returns
    -------
    ndarray of float32, shape (478, 3), or None
        None where no face is found.
    """
    faces = _run("mesh", picture).multi_face_landmarks
    if not faces:
        return None
    height, width = picture.shape[:2]
    points = np.array([(p.x, p.y, p.z) for p in faces[0].landmark], np.float32)
    return points * np.array([width, height, width], np.float32)


_loaded = threading.local()


def _run(name: str, picture: Picture) -> Any:
    """What the network of that name finds; graphs cannot be shared between threads."""
    networks: dict[str, Any] = _loaded.__dict__
    if name in networks:
        return networks[name].process(picture)
    with _without_start_up_noise():
        network = _builders()[name]()
        networks[name] = network
        return network.process(picture)


@contextmanager
def _stand_ins() -> Iterator[None]:
    """Empty modules for those that mediapipe draws pictures with, while it is loaded.

    They load matplotlib, which takes three times as long as all the rest.
    """
    absent = [name for name in DRAWING if name not in sys.modules]
    sys.modules.update({name: ModuleType(name) for name in absent})
    try:
        yield
    finally:
        for name in absent:
            del sys.modules[name]


@cache
def _builders() -> dict[str, Callable[[], Any]]:
    """How each network is made.

    They are loaded in a thread of its own: of what its libraries try to import and do not find they
    keep the error, and with it every caller's frame, in which there is a photograph.
    """
    with ThreadPoolExecutor(1) as alone:
        return alone.submit(_loaded_builders).result()


def _loaded_builders() -> dict[str, Callable[[], Any]]:
    """The same; importing mediapipe here keeps `import evenhand` quick."""
    with _stand_ins():
        from mediapipe.python import solutions

    faces, mesh = solutions.face_detection, solutions.face_mesh
    return {
        "near": lambda: faces.FaceDetection(
            model_selection=0, min_detection_confidence=DETECTION_CONFIDENCE
        ),
        "far": lambda: faces.FaceDetection(
            model_selection=1, min_detection_confidence=DETECTION_CONFIDENCE
        ),
        "mesh": lambda: mesh.FaceMesh(
            static_image_mode=True,
            max_num_faces=1,
            refine_landmarks=True,
            min_detection_confidence=MESH_CONFIDENCE,
        ),
    }


_standard_error_lock = threading.Lock()


@contextmanager
def _without_start_up_noise() -> Iterator[None]:
    """Hold back what the networks' C++ log prints on starting; it obeys no setting.

    Everything else written to standard error meanwhile is passed on afterwards.
    """
    with _standard_error_lock, tempfile.TemporaryFile() as held:
        sys.stderr.flush()
        before = os.dup(2)
        os.dup2(held.fileno(), 2)
        try:
            yield
        finally:
            sys.stderr.flush()
            os.dup2(before, 2)
            os.close(before)
            held.seek(0)
            for line in held:
                if not NOISE.match(line):
                    os.write(2, line)


def _detections(found: Any, picture: Picture) -> list[Detection]:
    height, width = picture.shape[:2]
    detections = []
    for face in found.detections or ():
        place = face.location_data
        box = place.relative_bounding_box
        points = [(p.x * width, p.y * height) for p in place.relative_keypoints]
        detections.append(
            Detection(
                left=box.xmin * width,
                top=box.ymin * height,
                width=box.width * width,
                height=box.height * height,
                points=np.array(points, np.float32),
                score=float(face.score[0]),
            )
        )
    return detections
