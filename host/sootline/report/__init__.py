"""What a season or a week comes to, and the plots that show it: pure, for reports, messages and pages alike."""
