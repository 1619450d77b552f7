"""What was typed and what was made of it, kept for ever in one SQLite file."""
