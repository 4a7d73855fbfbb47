"""Files in and out: photographs read and written without losing anything."""
