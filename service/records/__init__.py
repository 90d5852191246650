"""Records: what is kept of a heat, gathered, summed up, printed, handed over and taken in."""
