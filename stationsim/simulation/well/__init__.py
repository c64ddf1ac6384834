"""The water of a plant: the volume, who draws on it, levels that wake somebody, spills."""
