"""Bytes to measurements and back. No I/O, no clock."""
