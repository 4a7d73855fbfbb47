"""The parser of people's parts: its weights, its card, and how to train it again."""
