"""The wire between host and board: one source for both, without any I/O."""
