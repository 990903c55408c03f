"""The log sheet: facts in, words and lines out. Pure; nothing here reads a clock or a file."""
