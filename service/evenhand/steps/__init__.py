"""The retouch steps, each a settings model and a function, one module each."""
