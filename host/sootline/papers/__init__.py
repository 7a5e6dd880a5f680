"""Pages and papers of what the advice says: views with words and units, plots, and HTML and PDF to keep or print."""
