"""Leaves about what the yeast does: account, packaging, comparison, report and calendar."""
