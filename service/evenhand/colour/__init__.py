"""Colour science: encodings, perceptual spaces, differences, skin optics."""
