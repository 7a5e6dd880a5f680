"""sootline: watches used-oil warm-air furnaces. It only monitors; nothing here can act on a burner."""

__version__ = "0.1.0"
