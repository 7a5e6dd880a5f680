"""The commands of `sootline`, one module each: its first docstring line is its help, `main(argv)` runs it."""
