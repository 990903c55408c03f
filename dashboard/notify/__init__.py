"""Being told: what is told is decided apart from how it is sent, and nothing is told twice."""
