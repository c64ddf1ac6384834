"""What goes wrong while a station runs, by family, and who puts it right."""
