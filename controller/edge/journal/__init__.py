"""The journal: every line this chamber ever said, in order, and what of it is yet to be delivered.

Writing is the writer's, reading for the broker is the outbox's, and the day files are beneath both.
"""

from controller.edge.journal.day_files import Entry
from controller.edge.journal.outbox import Outbox
from controller.edge.journal.writer import Journal, JournalSettings

__all__ = ["Entry", "Journal", "JournalSettings", "Outbox"]
