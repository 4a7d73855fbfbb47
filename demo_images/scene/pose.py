"""A small skeleton on the base mesh's joints, posed by linear blend skinning.

Rotations are global: each bone's rotation is given against the rest pose, positions follow the
parent chain. Points that ride on the body (hair, cloth, eyes) are posed with the same transforms.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .assets import Assets, Floats

BONES: dict[str, tuple[str | None, str, tuple[str, ...]]] = {
    "root": (None, "pelvis", ("root", "pelvis", "special")),
    "spine": ("root", "spine-3", ("spine05", "spine04")),
    "chest": ("spine", "spine-2", ("spine03", "spine02", "spine01", "breast")),
    "neck": ("chest", "neck", ("neck01",)),
    "neck2": ("neck", "neck", ("neck02", "neck03")),
    "head": ("neck2", "head", ()),
}
"""Bone: parent, joint it turns about, prefixes of the weight groups it takes (head: the rest)."""

SIDE_BONES: dict[str, tuple[str, str, tuple[str, ...]]] = {
    "clavicle": ("chest", "clavicle", ("clavicle", "shoulder01")),
    "upperarm": ("clavicle", "shoulder", ("upperarm",)),
    "lowerarm": ("upperarm", "elbow", ("lowerarm01",)),
    "forearm": ("lowerarm", "elbow", ("lowerarm02",)),
    "hand": ("forearm", "hand", ("wrist", "metacarpal")),
    "thigh": ("root", "upper-leg", ("upperleg",)),
    "shin": ("thigh", "knee", ("lowerleg",)),
    "foot": ("shin", "ankle", ("foot", "toe")),
}
for _finger in range(1, 6):
    for _part in range(1, 4):
        _parent = "hand" if _part == 1 else f"finger{_finger}{_part - 1}"
        SIDE_BONES[f"finger{_finger}{_part}"] = (
            _parent,
            f"finger-{_finger}-{_part}",
            (f"finger{_finger}-{_part}",),
        )
for _side in "LR":
    for _name, (_parent, _joint, _groups) in SIDE_BONES.items():
        _up = f"{_parent}.{_side}" if _parent in SIDE_BONES else _parent
        BONES[f"{_name}.{_side}"] = (
            _up,
            f"{_side.lower()}-{_joint}",
            tuple(f"{g}|{_side}" for g in _groups),
        )
BONE_NAMES = list(BONES)
"""Order of the columns of a weight matrix."""


def rotation(axis: Floats, angle: float) -> Floats:
    """Rotation matrix about `axis` by `angle` radians (Rodrigues)."""
    axis = np.asarray(axis, float) / np.linalg.norm(axis)
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross


def arc(start: Floats, end: Floats) -> Floats:
    """Smallest rotation that takes direction `start` to `end`."""
    start, end = start / np.linalg.norm(start), end / np.linalg.norm(end)
    axis = np.cross(start, end)
    if np.linalg.norm(axis) < 1e-9:
        return np.eye(3)
    return rotation(axis, float(np.arccos(np.clip(start @ end, -1, 1))))


def turn(yaw: float, pitch: float, roll: float) -> Floats:
    """Head turn in degrees: yaw to the person's left, pitch up, roll to the person's left."""
    about_y = rotation(np.array([0, 1, 0]), np.radians(yaw))
    about_x = rotation(np.array([1, 0, 0]), np.radians(-pitch))
    about_z = rotation(np.array([0, 0, 1]), np.radians(-roll))
    return about_y @ about_x @ about_z


def weight_matrix(assets: Assets) -> Floats:
    """Skinning weights (vertices, bones) of the whole base mesh, rows sum to 1."""
    weights = np.zeros((len(assets.base.vertices), len(BONE_NAMES)))
    for group, entries in assets.weights.items():
        bone = _bone_of(group)
        table = np.array(entries).reshape(-1, 2)
        weights[table[:, 0].astype(int), BONE_NAMES.index(bone)] += table[:, 1]
    return weights / np.maximum(weights.sum(1, keepdims=True), 1e-9)


def _bone_of(group: str) -> str:
    stem, _, side = group.partition(".")
    for bone, (_, _, prefixes) in BONES.items():
        for prefix in prefixes:
            start, _, only = prefix.partition("|")
            if stem.startswith(start) and (not only or only == side):
                return bone
    return "head"


@dataclass(frozen=True)
class Pose:
    """Directions and turns, in the person's own frame (x left, y up, z front).

    `arms`: (upper, lower) directions for left and right; `curl`: bend of the fingers in degrees,
    one number or one a finger; `spread`: degrees between fingers; `wrist`: bend towards the palm;
    `head`: (yaw, pitch, roll) degrees against the chest; `lean`: chest (yaw, pitch, roll);
    `legs`: (upper, lower) directions; `hand_roll`: turn of the forearm about itself, degrees.
    """

    head: tuple[float, float, float] = (0, 0, 0)
    lean: tuple[float, float, float] = (0, 0, 0)
    arms: tuple[tuple[Floats, Floats], tuple[Floats, Floats]] | None = None
    hand_roll: tuple[float, float] = (0, 0)
    curl: tuple[float | Floats, float | Floats] = (20, 20)
    legs: tuple[tuple[Floats, Floats], tuple[Floats, Floats]] | None = None
    spread: tuple[float, float] = (0, 0)
    wrist: tuple[float, float] = (0, 0)


class Posed:
    """Transforms of all bones of one shaped body in one pose."""

    def __init__(self, assets: Assets, vertices: Floats, pose: Pose):
        self.pivots = {b: assets.joint(vertices, joint) for b, (_, joint, _) in BONES.items()}
        turns = self._turns(pose)
        self.rotations = np.zeros((len(BONE_NAMES), 3, 3))
        self.origins = np.zeros((len(BONE_NAMES), 3))
        self.rest = np.array([self.pivots[b] for b in BONE_NAMES])
        for k, bone in enumerate(BONE_NAMES):
            parent = BONES[bone][0]
            self.rotations[k] = turns[bone]
            self.origins[k] = (
                self.rest[k] if parent is None else self.carry(self.rest[k][None], parent)[0]
            )

    def carry(self, points: Floats, bone: str) -> Floats:
        """Points moved rigidly with one bone."""
        k = BONE_NAMES.index(bone)
        return (points - self.rest[k]) @ self.rotations[k].T + self.origins[k]

    def blend(self, points: Floats, weights: Floats) -> Floats:
        """Points (n, 3) moved by linear blend skinning with weights (n, bones)."""
        used = np.nonzero(weights.sum(0) > 1e-6)[0]
        moved = np.zeros_like(points)
        for k in used:
            part = weights[:, k : k + 1]
            moved += part * ((points - self.rest[k]) @ self.rotations[k].T + self.origins[k])
        return moved

    def _turns(self, pose: Pose) -> dict[str, Floats]:
        turns: dict[str, Floats] = {"root": np.eye(3)}
        lean = turn(*pose.lean)
        half = turn(*(0.5 * np.array(pose.lean)))
        yaw, pitch, roll = pose.head
        turns |= {"spine": half, "chest": lean}
        turns["neck"] = lean @ turn(0.3 * yaw, 0.3 * pitch, 0.3 * roll)
        turns["neck2"] = lean @ turn(0.65 * yaw, 0.6 * pitch, 0.6 * roll)
        turns["head"] = lean @ turn(yaw, pitch, roll)
        for k, side in enumerate("LR"):
            self._arm(turns, pose, lean, k, side)
            self._leg(turns, pose, k, side)
        return turns

    def _arm(self, turns: dict[str, Floats], pose: Pose, lean: Floats, k: int, side: str) -> None:
        p = self.pivots
        shoulder, elbow, wrist = (p[f"{b}.{side}"] for b in ("upperarm", "lowerarm", "hand"))
        rest_upper, rest_lower = elbow - shoulder, wrist - elbow
        upper, lower = pose.arms[k] if pose.arms else (rest_upper, rest_lower)
        raised = np.clip(upper[1] / np.linalg.norm(upper) + 0.35, 0, 1.3)
        sign = 1 if side == "L" else -1
        clavicle = rotation(np.array([0, 0, 1]), sign * 0.45 * raised)
        arm = arc(clavicle @ rest_upper, np.asarray(upper, float)) @ clavicle
        fore = arc(arm @ rest_lower, np.asarray(lower, float)) @ arm
        twist = rotation(fore @ rest_lower, np.radians(sign * pose.hand_roll[k]))
        halfway = rotation(fore @ rest_lower, np.radians(sign * 0.4 * pose.hand_roll[k]))
        turns[f"clavicle.{side}"] = lean @ clavicle
        turns[f"upperarm.{side}"] = lean @ arm
        turns[f"lowerarm.{side}"] = lean @ fore
        turns[f"forearm.{side}"] = lean @ halfway @ fore
        across = p[f"finger21.{side}"] - p[f"finger51.{side}"]
        bent = rotation(across, np.radians(-sign * pose.wrist[k]))
        hand = turns[f"hand.{side}"] = lean @ twist @ fore @ bent
        palm = np.cross(across, p[f"finger31.{side}"] - wrist)
        curls = np.broadcast_to(pose.curl[k], 5)
        for finger in range(1, 6):
            apart = rotation(palm, np.radians((3 - finger) * pose.spread[k]))
            bend = curls[finger - 1] * (0.45 if finger == 1 else 1.0)
            for part in range(1, 4):
                curl = rotation(across, np.radians(-sign * bend * part))
                turns[f"finger{finger}{part}.{side}"] = hand @ apart @ curl

    def _leg(self, turns: dict[str, Floats], pose: Pose, k: int, side: str) -> None:
        p = self.pivots
        hip, knee, ankle = (p[f"{b}.{side}"] for b in ("thigh", "shin", "foot"))
        upper, lower = pose.legs[k] if pose.legs else (knee - hip, ankle - knee)
        thigh = arc(knee - hip, np.asarray(upper, float))
        shin = arc(thigh @ (ankle - knee), np.asarray(lower, float)) @ thigh
        turns[f"thigh.{side}"] = thigh
        turns[f"shin.{side}"] = shin
        turns[f"foot.{side}"] = shin
