"""Who is asking, and whether they may: users, sessions, tokens, roles, and who must wait."""
