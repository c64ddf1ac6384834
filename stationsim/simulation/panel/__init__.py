"""What the panel sees and shows: level signal, floats, alarms, and the panel itself."""
