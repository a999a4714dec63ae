"""What must be true: the protocol, what was seen, the decision, and what rework undoes.

A case says what a person saw and measured; a protocol says what must be true and how well people
see it; `inspect` decides every characteristic that is due and the hand as a whole. Nothing here
knows a file, a clock or how a hand moves: judgements from the mechanics come in as findings.
"""
