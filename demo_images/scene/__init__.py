"""Invented people, rendered with Cycles: parts of a scene, one idea a module."""
