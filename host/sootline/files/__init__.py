"""Files an owner keeps: recordings of what was published, tables of readings, profiles."""
