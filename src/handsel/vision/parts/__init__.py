"""A kit's loose parts on the mat: found, measured, matched to the order, judged one by one (`looking` does it all)."""
