"""Pictures to look at, sRGB and without anybody's metadata: before and after, numbered marks."""
