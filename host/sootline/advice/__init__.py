"""What the owner decides by, from the store: when to clean, how the oil lasts, what a batch needs and gives."""
