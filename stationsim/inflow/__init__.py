"""What arrives: flows that follow the calendar, storms, recorded series, and their sum."""
