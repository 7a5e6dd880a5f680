"""Equations of oil, heat, combustion, fouling and cleaning economics. Pure: no clock, no files, no network."""
