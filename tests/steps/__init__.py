"""Steps against skin whose clean state is known."""
