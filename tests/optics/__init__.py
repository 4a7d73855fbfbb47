"""Skin changes with known answers, simulated from published spectra.

Nothing here calls the steps or their skin model: light is followed wavelength by wavelength.
"""
