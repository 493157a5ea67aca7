"""The rehearsal: its own chamber, probes that lie and fall silent, and weekends to live through.

It shares no physics with the monitor (of which it imports only the model and the wire), so that a mistake
made in one is not hidden by the same mistake in the other. It speaks to the monitor the way real probes do:
over a pseudo-terminal, a broker or a file.
"""
