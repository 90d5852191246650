"""What the trade knows: metals, limits, plans. Pure."""
