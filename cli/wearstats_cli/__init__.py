"""The command line: a translation of the library, and nothing else."""
