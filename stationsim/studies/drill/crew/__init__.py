"""The crew of a drill: who is where, calls, ways, work on site, and the diary of it."""
