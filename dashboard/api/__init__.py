"""The interface for programs: one table of operations, its document, and what answers them."""
