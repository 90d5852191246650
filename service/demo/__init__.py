"""A simulated shop on real wires."""
