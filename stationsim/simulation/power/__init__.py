"""What feeds the pumps: grid, transfer switch, generator sets, the engine-driven pump."""
