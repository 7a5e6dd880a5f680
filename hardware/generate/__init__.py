"""Generators and checks of the hardware data."""
