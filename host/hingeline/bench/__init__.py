"""The bench: ports, transports, the board's client, and the procedures at the table."""
