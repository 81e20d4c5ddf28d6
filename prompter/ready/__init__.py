"""The self-test in calm: would everything work if it began now? One line each, with what to do."""
