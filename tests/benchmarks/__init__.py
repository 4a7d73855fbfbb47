"""Time and memory of every stage, beside the floor of decoding and encoding the same file."""
