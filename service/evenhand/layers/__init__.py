"""The layer: one step's change to one person, capped, stored, blended."""
