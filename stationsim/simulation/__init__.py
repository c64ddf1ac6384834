"""The run: clock, plant, stories, session. The only room that knows SimPy."""
