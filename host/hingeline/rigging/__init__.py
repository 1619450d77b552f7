"""What a model needs done in which order, and what the measurements say of how it was built."""
