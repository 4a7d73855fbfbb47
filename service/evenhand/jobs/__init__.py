"""Work that outlives a request: finding people, computing layers, making finals."""
