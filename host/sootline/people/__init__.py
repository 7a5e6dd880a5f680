"""The people who use the pages: their roles, passwords, sessions, and the links they share."""
