"""barmkeep's controller: holds one chamber's temperature, and needs nobody to do it."""

__version__ = "0.1.0"
