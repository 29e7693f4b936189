"""One module a command: configure(parser) with the standard library alone, run(given) → exit code."""
