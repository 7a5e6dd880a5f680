"""What crosses the wire: topics, SenML, packs, and where a pack without a clock belongs in time."""
