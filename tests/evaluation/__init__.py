"""Measurements on pictures that no parameter was tuned on."""
