"""heatwindow: says when a hot casting may be welded, and for how long."""

__version__ = "0.1.0"
