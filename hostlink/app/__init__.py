"""The Textual app: screens, widgets, one stylesheet. It calls the same jobs as the command line.

Rules:
1. No widget is touched from a thread: an owner thread puts events into a queue, and the app takes
   them out thirty times a second.
2. Text from boards, files and the archive is shown as plain text; it is never read as markup.
3. Every error is shown to the user: what happened, what was not lost, what to do.
"""
