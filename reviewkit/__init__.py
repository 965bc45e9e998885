"""From a folder of bench measurements to an episode kit."""

__version__ = "0.1.0"
