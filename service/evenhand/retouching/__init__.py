"""From files to files: one portrait, a folder, a shoot's tone, a stored layer set.

The commands and the functions that take paths. Computing is done by `evenhand.computing` alone.
"""
