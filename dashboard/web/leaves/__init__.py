"""The sheet's other leaves: pages beside a chamber's own. Each is a few functions over `Pages`."""
