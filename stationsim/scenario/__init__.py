"""A scenario file in, a Station and an Episode out: schema, loader, rules, starter."""
