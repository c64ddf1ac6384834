"""What is kept of a drill: the lines that were typed, and the transcript."""
