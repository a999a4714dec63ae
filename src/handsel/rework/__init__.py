"""What to do about it: the exact fix, what it will bring, and what to look at again."""
