"""The command line: one thin file per command, one place where errors are shown."""
