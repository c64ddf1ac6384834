"""Scripted sequences: what the panel should show, set-points, and a panel's log beside it."""
