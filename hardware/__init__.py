"""The sensor board: data, generators and drawings. Not part of the installed package."""
