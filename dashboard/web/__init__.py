"""The pages: routes, guard and stream, and what a page is made from. Decides nothing of beer."""
