"""The inspection mat: what is printed on it (`sheet`), where it is in a photo (`corners`, `view`), laid flat."""
