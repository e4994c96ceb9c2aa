"""One study file, read and run."""
