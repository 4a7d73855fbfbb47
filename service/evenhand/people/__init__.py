"""Who is in the photograph: faces, bodies, regions, masks."""
