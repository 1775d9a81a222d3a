"""The command line: thin over app, heavy imports inside the commands."""
