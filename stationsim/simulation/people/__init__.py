"""People in a run: who is called, who comes, and what they do on site."""
