"""The model file: its schema, its strict reader and the words for sides and directions."""
