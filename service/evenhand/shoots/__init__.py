"""The records of a shoot: who agreed to what, what was shown, what was signed, and every file."""
