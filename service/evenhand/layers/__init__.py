"""Layers: made from a wanted change, held inside their caps, blended, stored."""

from evenhand.layers.blending import blend, unblend
from evenhand.layers.layer import Layer
from evenhand.layers.making import layer_from_change
from evenhand.layers.storage import LayerSet, Original, SavedDifferences, load, pixels_sha256, save
from evenhand.layers.summing import limit_sum

__all__ = [
    "Layer",
    "LayerSet",
    "Original",
    "SavedDifferences",
    "blend",
    "layer_from_change",
    "limit_sum",
    "load",
    "pixels_sha256",
    "save",
    "unblend",
]
