"""The network that tells burnt from unburnt skin of one person, and how it is trained."""
