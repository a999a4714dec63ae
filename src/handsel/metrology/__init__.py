"""What is known: a quantity with its uncertainty, repeated readings, decision rules, risks.

Everything here speaks of one number at a time and what may be said about it. Nothing here knows a
hand, a file or a clock. Standard uncertainty is always `u`; ± never stands without k or coverage.
"""
