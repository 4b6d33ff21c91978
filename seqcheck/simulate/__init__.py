"""A second, independent way to run a machine: it interprets the checked tree step by step, by its own code."""
